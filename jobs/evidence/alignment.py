"""Whether two pictures show the same, one of them perhaps a crop of the other.

What near hashes suggest is looked at closely: one picture is laid over the other at several
scales and every place, and the best agreement counts (normalised cross-correlation; J. P. Lewis,
"Fast Normalized Cross-Correlation", 1995).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Sample = NDArray[np.uint8]
Values = NDArray[np.float64]

SCALES = (1.0, 0.96, 1.04, 0.92, 1.085, 0.88, 1.13, 0.845, 1.18)
"""Of the second picture against the first: up to about 8 % may be gone from each side of one."""
MIDDLE = 0.82
"""The share of the first picture that is laid over the second."""
SAME = 0.965
"""Agreement from which two pictures show the same [measured on drawn photos by
benchmarks/photo_hash_quality.py]."""
SURELY = 0.985


def show_the_same(first: Sample, second: Sample) -> bool:
    """first, second: grey samples of like size. Also true if one is the other's mirror image."""
    return agreement(first, second, SURELY) >= SAME or (
        agreement(first[:, ::-1], second, SURELY, scales=SCALES[:1]) >= SAME
    )


def agreement(
    first: Sample, second: Sample, enough: float = 1.0, scales: tuple[float, ...] = SCALES
) -> float:
    """The best correlation coefficient, -1 to 1, over all scales and places.

    Stops looking once it is `enough`.
    """
    best = -1.0
    below = _smooth(np.asarray(second, dtype=np.float64))
    for scale in scales:
        above = _smooth(_middle_of(first, scale, below.shape))
        best = max(best, _best_place(above, below))
        if best >= enough:
            break
    return best


def _middle_of(picture: Sample, scale: float, most: tuple[int, ...]) -> Values:
    height, width = picture.shape
    image = Image.fromarray(np.ascontiguousarray(picture))
    if scale != 1.0:
        size = max(1, round(width * scale)), max(1, round(height * scale))
        image = image.resize(size, Image.Resampling.BILINEAR)
    values = np.asarray(image, dtype=np.float64)
    rows, columns = (
        min(round(side * MIDDLE), room) for side, room in zip(values.shape, most, strict=True)
    )
    top, left = (values.shape[0] - rows) // 2, (values.shape[1] - columns) // 2
    return values[top : top + rows, left : left + columns]


def _smooth(values: Values) -> Values:
    """The mean of each 3 x 3: what a fraction of a pixel moves must not count."""
    if min(values.shape) < 3:
        return values
    rows = values[:-2] + values[1:-1] + values[2:]
    smooth: Values = (rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) / 9
    return smooth


def _best_place(above: Values, below: Values) -> float:
    """The highest correlation coefficient of `above` with any part of `below` of its size."""
    rows, columns = above.shape
    if rows > below.shape[0] or columns > below.shape[1] or not above.std():
        return -1.0
    places = below.shape[0] - rows + 1, below.shape[1] - columns + 1
    standard = (above - above.mean()) / (above.std() * above.size)
    shape = below.shape
    spectrum = np.fft.rfft2(below) * np.conj(np.fft.rfft2(standard, shape))
    together = np.fft.irfft2(spectrum, shape)[: places[0], : places[1]]
    mean = _sums(below, rows, columns) / above.size
    spread = np.sqrt(np.maximum(_sums(below**2, rows, columns) / above.size - mean**2, 1e-9))
    return float((together / spread).max())


def _sums(values: Values, rows: int, columns: int) -> Values:
    """The sum over each part of that size, by an integral image."""
    total = np.pad(values, ((1, 0), (1, 0))).cumsum(0).cumsum(1)
    sums: Values = (
        total[rows:, columns:] - total[:-rows, columns:] - total[rows:, :-columns]
        + total[:-rows, :-columns]
    )  # fmt: skip
    return sums
