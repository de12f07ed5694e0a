"""What a picture looks like, as numbers: light, sharpness, and a hash that survives re-encoding.

Measured in the decoding process: no Django here. The limits are common practice with no
published source; `benchmarks/photo_hash_quality.py` tells how often they err.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.float32]

ANALYSIS_PX = 640
SAMPLE_PX = 128
"""The longest side of the grey sample that two pictures are compared by."""

HASH_SAMPLES = 32
LOOKS_A_SAMPLE = 8
HASH_BITS = 64
FLAT_SPREAD = 4.0

DARK_MEAN = 22.0
DARK_BRIGHTEST = 70.0
BLUR_VARIANCE = 18.0
LEAST_DETAIL = 1.8
"""Below it pictures of different lofts agree like one with itself [measured on drawn photos: from
a blur of about 25 pixels of 1200 on; at 18 pixels every one was still told apart]."""

TRIM = 0.05
"""What a crop is supposed to have taken from a side, when the hash of the whole is guessed."""


@dataclass(frozen=True, slots=True)
class Look:
    """mean, brightest: luma 0 to 255, the latter of its 98th percentile. sharpness: see there.

    sample: grey values, at most SAMPLE_PX long. hashes: 64 bits, signed; the first is the
    picture's own, the others are how it may look to a search (see `hashes_of`); none for a
    picture without any shape.
    """

    mean: float
    brightest: float
    sharpness: float
    sample: NDArray[np.uint8]
    hashes: tuple[int, ...]

    @property
    def is_too_dark(self) -> bool:
        """Whether so little light fell that nothing can be made out."""
        return self.mean < DARK_MEAN and self.brightest < DARK_BRIGHTEST

    @property
    def is_blurred(self) -> bool:
        return self.sharpness < BLUR_VARIANCE

    @property
    def can_be_compared(self) -> bool:
        """Whether it has shape and detail enough for likeness with another to mean anything."""
        detail = sharpness(self.sample.astype(np.float32)) ** 0.5
        return bool(self.hashes) and detail >= LEAST_DETAIL


def look_of(image: Image.Image) -> Look:
    """Measure an upright picture."""
    grey = grey_of(image)
    values = np.asarray(grey, dtype=np.float32)
    counts = np.asarray(grey.histogram()[:256])
    below = np.cumsum(counts) / counts.sum()
    sample = shortened(grey, SAMPLE_PX)
    return Look(
        mean=float(values.mean()),
        brightest=float(np.searchsorted(below, 0.98)),
        sharpness=sharpness(values),
        sample=np.asarray(sample),
        hashes=hashes_of(sample),
    )


def grey_of(image: Image.Image, longest_px: int = ANALYSIS_PX) -> Image.Image:
    """Luma of the picture, made no longer than `longest_px`."""
    return shortened(image.convert("L"), longest_px)


def shortened(grey: Image.Image, longest_px: int) -> Image.Image:
    longest = max(grey.size)
    if longest <= longest_px:
        return grey
    width, height = (max(1, round(side * longest_px / longest)) for side in grey.size)
    return grey.resize((width, height), Image.Resampling.BOX)


def sharpness(grey: Grey) -> float:
    """Variance of the discrete Laplacian: high with crisp edges, near 0 without any."""
    middle = grey[1:-1, 1:-1]
    if not middle.size:
        return 0.0
    around = grey[:-2, 1:-1] + grey[2:, 1:-1] + grey[1:-1, :-2] + grey[1:-1, 2:]
    return float((around - 4 * middle).var(dtype=np.float64))


def perceptual_hash(image: Image.Image) -> int | None:
    """64 bits, signed, of the low frequencies of the picture; None for one without any shape.

    Discrete cosine transform (type II) of 32 x 32 grey samples; of its lowest 64 frequencies
    without the mean, in zigzag order, each bit tells the sign. Light and contrast scale all of
    them alike and leave the signs as they are. Neighbouring frequencies go to different quarters
    of the hash, so that what disturbs the picture seldom disturbs one quarter alone.
    """
    return next(iter(hashes_of(shortened(image.convert("L"), SAMPLE_PX))), None)


# From where to where along a side, in shares of it; and what a crop may have taken or left.
Span = tuple[float, float]
WHOLE: Span = (0.0, 1.0)
WIDER: tuple[Span, ...] = (WHOLE, (-TRIM, 1.0), (0.0, 1 + TRIM), (-TRIM, 1 + TRIM))
INSIDE: tuple[Span, ...] = (WHOLE, (TRIM, 1.0), (0.0, 1 - TRIM), (TRIM, 1 - TRIM))
SPANS = (*WIDER, *INSIDE[1:])
# Which spans down and across make a window: all wider ones together, all inner ones together.
WINDOWS = tuple(
    dict.fromkeys(
        (SPANS.index(down), SPANS.index(across))
        for spans in (WIDER, INSIDE)
        for down in spans
        for across in spans
    )
)

FREQUENCIES = 11
ZIGZAG = sorted(
    ((row, column) for row in range(FREQUENCIES) for column in range(FREQUENCIES)),
    key=lambda at: (sum(at), at[0]),
)[1 : HASH_BITS + 1]
# The k-th lowest frequency goes to quarter k mod 4.
ORDER = np.array([ZIGZAG[4 * place + quarter] for quarter in range(4) for place in range(16)])
MIRRORED = np.where(ORDER[:, 1] % 2, -1.0, 1.0)


def hashes_of(grey: Image.Image) -> tuple[int, ...]:
    """The hash of a grey picture, then of the windows that a search guesses, then mirrored.

    Windows reach beyond the picture, in case it is a crop of a stored one (its lost edge is
    guessed to go on as the last row of pixels), and inside it, in case a stored one is a crop
    of it. Nothing for a picture without any shape.
    """
    values = np.asarray(grey, dtype=np.float32)
    if values.std() < FLAT_SPREAD:
        return ()
    down, across = _waves_over(values.shape[0]), _waves_over(values.shape[1])
    spectra = (down @ values @ across.T).reshape(len(SPANS), FREQUENCIES, len(SPANS), FREQUENCIES)
    lowest = [spectra[row, ORDER[:, 0], column, ORDER[:, 1]] for row, column in WINDOWS]
    return tuple(_signed(low > 0) for low in (*lowest, lowest[0] * MIRRORED))


@lru_cache(maxsize=64)
def _waves_over(length: int) -> Grey:
    """For each span of a side of `length` pixels: its 32 samples, transformed. One matrix."""
    within = (np.arange(HASH_SAMPLES * LOOKS_A_SAMPLE) + 0.5) / (HASH_SAMPLES * LOOKS_A_SAMPLE)
    rows = []
    for begin, end in SPANS:
        at = np.clip(np.floor((begin + within * (end - begin)) * length), 0, length - 1)
        taken = np.zeros((HASH_SAMPLES, length), dtype=np.float32)
        which = np.repeat(np.arange(HASH_SAMPLES), LOOKS_A_SAMPLE)
        np.add.at(taken, (which, at.astype(int)), 1 / LOOKS_A_SAMPLE)
        rows.append(_cosines(FREQUENCIES, HASH_SAMPLES) @ taken)
    return np.concatenate(rows)


def _cosines(count: int, samples: int) -> Grey:
    """Rows of the orthonormal discrete cosine transform, type II."""
    rows, columns = np.arange(count)[:, None], np.arange(samples)[None]
    waves = np.cos(np.pi * (2 * columns + 1) * rows / (2 * samples)) * np.sqrt(2 / samples)
    waves[0] /= np.sqrt(2)
    return waves.astype(np.float32)


def _signed(bits: NDArray[np.bool_]) -> int:
    unsigned = int.from_bytes(np.packbits(bits).tobytes(), "big")
    return unsigned - (1 << 64) if unsigned >= 1 << 63 else unsigned


def distance(first: int, second: int) -> int:
    """How many of the 64 bits differ: 0 for the same picture, about 32 for unrelated ones."""
    return ((first ^ second) & ((1 << 64) - 1)).bit_count()
