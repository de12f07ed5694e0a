"""What a picture looks like, as numbers: light, sharpness, and a hash that survives re-encoding."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.fft import dctn

Grey = NDArray[np.float64]

HASH_SIDE = 8
HASH_SAMPLES = 32
ANALYSIS_PX = 640

DARK_MEAN = 22.0
DARK_BRIGHTEST = 70.0
BLUR_VARIANCE = 18.0
FLAT_SPREAD = 4.0
ALIKE_CORRELATION = 0.97


def grey_of(image: Image.Image, longest_px: int = ANALYSIS_PX) -> Grey:
    """Luma 0 to 255 of the picture, made no longer than `longest_px`."""
    small = image.convert("L")
    small.thumbnail((longest_px, longest_px), Image.Resampling.BOX)
    return np.asarray(small, dtype=np.float64)


def perceptual_hash(image: Image.Image) -> int | None:
    """64 bits, signed, of the low frequencies of the picture; None for one without any shape.

    Discrete cosine transform of 32 x 32 grey samples; the 8 x 8 lowest frequencies without the
    mean, each bit saying whether one lies above their median. Equal or nearly equal for the same
    picture at another size or compression; see `distance`.
    """
    small = image.convert("L").resize((HASH_SAMPLES, HASH_SAMPLES), Image.Resampling.BOX)
    samples = np.asarray(small, dtype=np.float64)
    if samples.std() < FLAT_SPREAD:
        return None
    low = dctn(samples, norm="ortho")[: HASH_SIDE + 1, : HASH_SIDE + 1].ravel()[1 : 64 + 1]
    bits = low > np.median(low)
    unsigned = int.from_bytes(np.packbits(bits).tobytes(), "big")
    return unsigned - (1 << 64) if unsigned >= 1 << 63 else unsigned


def distance(first: int, second: int) -> int:
    """How many of the 64 bits differ: 0 for the same picture, about 32 for unrelated ones."""
    return ((first ^ second) & ((1 << 64) - 1)).bit_count()


def is_too_dark(grey: Grey) -> bool:
    """Whether so little light fell that nothing can be made out."""
    return bool(grey.mean() < DARK_MEAN and np.percentile(grey, 98) < DARK_BRIGHTEST)


def sharpness(grey: Grey) -> float:
    """Variance of the discrete Laplacian: high with crisp edges, near 0 without any."""
    middle = grey[1:-1, 1:-1]
    around = grey[:-2, 1:-1] + grey[2:, 1:-1] + grey[1:-1, :-2] + grey[1:-1, 2:]
    return float((around - 4 * middle).var()) if middle.size else 0.0


def is_blurred(grey: Grey) -> bool:
    return sharpness(grey) < BLUR_VARIANCE


def are_alike(first: Image.Image, second: Image.Image) -> bool:
    """Whether two pictures show the same, grey level by grey level: what a near hash suggests.

    Pearson correlation of 64 x 48 grey samples.
    """
    samples = [
        np.asarray(
            picture.convert("L").resize((64, 48), Image.Resampling.BOX), dtype=np.float64
        ).ravel()
        for picture in (first, second)
    ]
    if min(sample.std() for sample in samples) == 0:
        return False
    return float(np.corrcoef(samples[0], samples[1])[0, 1]) >= ALIKE_CORRELATION
