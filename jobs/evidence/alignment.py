"""Whether two pictures show the same, one of them perhaps a crop of the other.

What near hashes suggest is looked at closely: one picture is laid over the other at several
scales and every place, and the best agreement counts (normalised cross-correlation; J. P. Lewis,
"Fast Normalized Cross-Correlation", 1995). Then once more by detail alone: every loft is dark
above and pale below, so that light agrees where nothing else does.
"""

from __future__ import annotations

from collections.abc import Callable

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
WORTH_A_LOOK = 0.95
"""Agreement at half the size below which no closer look is taken. Of 450 altered pictures that
agree at full size the least did so by 0.985 at half of it [measured on drawn photos]."""
DETAIL_PX = 4
"""Detail is what differs from the mean of so many pixels on each side."""
SAME_DETAIL = 0.74
"""Agreement of detail from which two pictures show the same. Altered pictures agreed with their
originals by 0.773 at least (of 80 cropped, made smaller, brighter or darker and compressed at
once); of strangers whose light agrees, eight in ten by less than this [measured on drawn photos].
"""
LEAST_HALVED_PX = 48
FAST_SIDE_PX = 16
"""Sides are filled up to a multiple of this, by which a Fourier transform is quick."""


def show_the_same(first: Sample, second: Sample) -> bool:
    """first, second: grey samples of like size. Also true if one is the other's mirror image."""
    return _agree(first, second, SCALES) or _agree(first[:, ::-1], second, SCALES[:1])


def _agree(first: Sample, second: Sample, scales: tuple[float, ...]) -> bool:
    """At half the size first, which tells most strangers apart at a fifth of the cost."""
    small = _halved(first), _halved(second)
    if agreement(*small, enough=WORTH_A_LOOK, scales=scales) < WORTH_A_LOOK:
        return False
    if agreement(first, second, SURELY, scales=scales) < SAME:
        return False
    return agreement(first, second, SAME_DETAIL, scales, _detail) >= SAME_DETAIL


def _halved(sample: Sample) -> Sample:
    """As it is where nothing would be left to tell by."""
    if min(sample.shape) < LEAST_HALVED_PX:
        return sample
    return np.asarray(Image.fromarray(np.ascontiguousarray(sample)).reduce(2))


def agreement(
    first: Sample,
    second: Sample,
    enough: float = 1.0,
    scales: tuple[float, ...] = SCALES,
    seen: Callable[[Values], Values] | None = None,
) -> float:
    """The best correlation coefficient, -1 to 1, over all scales and places.

    Stops looking once it is `enough`. seen: what of the pictures is compared; None for all but
    the finest.
    """
    best, seen = -1.0, seen or _smooth
    below = _Below(seen(np.asarray(second, dtype=np.float64)))
    for scale in scales:
        above = seen(_middle_of(first, scale, below.shape))
        best = max(best, below.best_place(above))
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


def _detail(values: Values) -> Values:
    """What is left of it without the light that lies over wider parts."""
    smooth = _smooth(values)
    size = 2 * DETAIL_PX + 1
    wide = np.pad(smooth, DETAIL_PX, mode="edge")
    detail: Values = smooth - _sums(_integral(wide), size, size) / size**2
    return detail


class _Below:
    """The picture that others are laid over: what is the same for each of them, worked out once."""

    def __init__(self, values: Values) -> None:
        self.shape = values.shape
        self._room = tuple(FAST_SIDE_PX * -(-side // FAST_SIDE_PX) for side in values.shape)
        self._spectrum = np.fft.rfft2(values, self._room)
        self._total = _integral(values)
        self._total_of_squares = _integral(values**2)

    def best_place(self, above: Values) -> float:
        """The highest correlation coefficient of `above` with any part of its size."""
        rows, columns = above.shape
        spread_above = above.std()
        if rows > self.shape[0] or columns > self.shape[1] or not spread_above:
            return -1.0
        places = self.shape[0] - rows + 1, self.shape[1] - columns + 1
        standard = (above - above.mean()) / (spread_above * above.size)
        spectrum = self._spectrum * np.conj(np.fft.rfft2(standard, self._room))
        together = np.fft.irfft2(spectrum, self._room)[: places[0], : places[1]]
        mean = _sums(self._total, rows, columns) / above.size
        squares = _sums(self._total_of_squares, rows, columns) / above.size
        spread = np.sqrt(np.maximum(squares - mean**2, 1e-9))
        return float((together / spread).max())


def _integral(values: Values) -> Values:
    total = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    np.cumsum(np.cumsum(values, axis=0), axis=1, out=total[1:, 1:])
    return total


def _sums(total: Values, rows: int, columns: int) -> Values:
    """The sum over each part of that size, from an integral image."""
    sums: Values = (
        total[rows:, columns:] - total[:-rows, columns:] - total[rows:, :-columns]
        + total[:-rows, :-columns]
    )  # fmt: skip
    return sums
