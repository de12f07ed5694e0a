"""Where in a photo a graduated gauge stands, and a crop of it large enough to read.

A gauge's graduations are the one thing in a loft that repeats every few pixels, dark on light,
over a long and narrow strip. Strips of the picture are searched for such a beat by their discrete
Fourier transform; the strip whose beat is strongest and narrowest is taken. The limits are ours
[common practice, no published source], set on invented pictures: what is found is a guess that
saves a person the zooming, never a judgement.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.float32]

LOOKED_AT_PX = 1200
"""The longest side of what is searched."""
STRIP_PX, WINDOW_PX, STRIDE_PX = 6, 64, 16
PERIODS_PX = (3.2, 16.0)
"""Distances of graduations that count as a beat."""
FINER = 4
"""Frequencies are told to a quarter of what a window's length tells apart, by filling it up."""
EVEN_SHARE = 0.08
"""By so much may the frequency differ along a gauge, seen at a slant."""
LEAST_BEAT = 6.0
"""Grey levels (of 255) of the beat's amplitude, a tenth of what a black-and-white gauge gives."""
LEAST_SHARE = 0.35
"""Share of a strip's detail that lies in its beat and its first overtone."""
WIDE_SHARE = 0.3
"""What repeats over so much of the picture's width is a wall or a floor."""
LEAN_STRIPS = 1
"""A gauge moves so many strips aside from one window to the next, and no more."""
WINDOWS_HELD = 6
"""A gauge beats evenly over so many windows, 144 pixels at least."""
CROP_SHARE = 0.24
"""The crop is at least this share of the picture's longer side across."""
CROP_PX = 720
CROP_QUALITY = 84


@dataclass(frozen=True, slots=True)
class Gauge:
    """A box in shares of the picture's width and height. upright: graduations run up and down."""

    left: float
    top: float
    right: float
    bottom: float
    upright: bool

    @property
    def middle(self) -> tuple[float, float]:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


def find_gauge(grey: Grey) -> Gauge | None:
    """The gauge in a picture (rows, columns) of grey levels 0 to 255; None where none stands out.

    Graduations at 3 to 16 pixels from each other are seen, at most about 10 degrees from upright
    or level.
    """
    found = [(_strongest(grey), True), (_strongest(grey.T), False)]
    (strength, box), upright = max(found, key=lambda one: one[0][0])
    if strength < LEAST_BEAT or box is None:
        return None
    height, width = grey.shape
    top, bottom, left, right = box if upright else (box[2], box[3], box[0], box[1])
    return Gauge(left / width, top / height, right / width, bottom / height, upright)


def gauge_crop(image: Image.Image) -> bytes | None:
    """A JPEG of the gauge in an upright RGB picture, three to four, without any metadata."""
    grey = image.convert("L")
    grey.thumbnail((LOOKED_AT_PX, LOOKED_AT_PX), Image.Resampling.BOX)
    gauge = find_gauge(np.asarray(grey, dtype=np.float32))
    if gauge is None:
        return None
    crop = image.crop(crop_box(gauge, *image.size))
    crop.thumbnail((CROP_PX, CROP_PX), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    crop.save(file, "JPEG", quality=CROP_QUALITY)
    return file.getvalue()


def crop_box(gauge: Gauge, width_px: int, height_px: int) -> tuple[int, int, int, int]:
    """Left, top, right, bottom [px] about the gauge: with a margin, three to four, inside."""
    along = (gauge.bottom - gauge.top) * height_px
    across = (gauge.right - gauge.left) * width_px
    if not gauge.upright:
        along, across = across, along
    short = max(1.5 * across, CROP_SHARE * max(width_px, height_px), 0.75 * 1.3 * along)
    wide, high = (short, short / 0.75) if gauge.upright else (short / 0.75, short)
    wide, high = min(wide, width_px), min(high, height_px)
    x, y = gauge.middle
    left = min(max(0.0, x * width_px - wide / 2), width_px - wide)
    top = min(max(0.0, y * height_px - high / 2), height_px - high)
    return round(left), round(top), round(left + wide), round(top + high)


def _strongest(grey: Grey) -> tuple[float, tuple[int, int, int, int] | None]:
    """Strength of the strongest narrow beat along the rows, and its box (top, bottom, left, right).

    The box reaches as far along the strip as the beat does.
    """
    rows, columns = grey.shape
    strips = columns // STRIP_PX
    if rows < WINDOW_PX + WINDOWS_HELD * STRIDE_PX or strips < 8:
        return 0.0, None
    beat = _steady(*_beats(grey[:, : strips * STRIP_PX].reshape(rows, strips, STRIP_PX).mean(2)))
    narrow = beat - _mean_along(beat, max(3, round(WIDE_SHARE * strips)))
    at, strip = np.unravel_index(int(np.argmax(narrow)), narrow.shape)
    strength = float(narrow[at, strip])
    ridge = _ridge(beat, int(at), int(strip))
    ends = [_run(narrow[row] > strength / 2, column) for row, column in ridge]
    left, right = min(low for low, _ in ends), max(high for _, high in ends)
    top, bottom = ridge[0][0] * STRIDE_PX, (ridge[-1][0] + WINDOWS_HELD - 1) * STRIDE_PX + WINDOW_PX
    return strength, (top, bottom, left * STRIP_PX, (right + 1) * STRIP_PX)


def _ridge(beat: Any, at: int, strip: int) -> list[tuple[int, int]]:
    """The beat followed both ways from its strongest window, to neighbouring strips too: a gauge
    that leans leaves its strip. (Window, strip) pairs, the first window first."""
    found = [(at, strip)]
    for by in (-1, 1):
        row, column = at + by, strip
        while 0 <= row < len(beat):
            low = max(0, column - LEAN_STRIPS)
            column = low + int(np.argmax(beat[row, low : column + LEAN_STRIPS + 1]))
            if beat[row, column] <= LEAST_BEAT / 2:
                break
            found.append((row, column))
            row += by
    return sorted(found)


def _beats(strips: Grey) -> tuple[Any, Any]:
    """Of each window of each strip: the beat's amplitude [grey levels], 0 where it has none, and
    its frequency [beats a window]."""
    windows = np.lib.stride_tricks.sliding_window_view(strips, WINDOW_PX, axis=0)[::STRIDE_PX]
    detail = (windows - windows.mean(axis=-1, keepdims=True)) * np.hanning(WINDOW_PX)
    spectrum = np.abs(np.fft.rfft(detail, FINER * WINDOW_PX, axis=-1)) ** 2
    first, last = (round(FINER * WINDOW_PX / period) for period in reversed(PERIODS_PX))
    peak = np.argmax(spectrum[..., first : last + 1], axis=-1) + first
    power = np.cumsum(spectrum, axis=-1)
    about, overtone = _around(power, peak), _around(power, 2 * peak)
    share = (about + overtone) / np.maximum(power[..., -1] - power[..., FINER], 1e-9)
    amplitude = 4 * np.sqrt(about / (1.5 * FINER)) / WINDOW_PX
    return np.where(share > LEAST_SHARE, amplitude * np.minimum(share, 1), 0.0), peak


def _steady(beat: Any, peak: Any) -> Any:
    """The least beat of windows one after the other, where all of them beat at one frequency.

    Letters beat as strongly as graduations, but never so evenly for long.
    """
    held = len(beat) - WINDOWS_HELD + 1
    beats = np.stack([beat[by : by + held] for by in range(WINDOWS_HELD)])
    peaks = np.stack([peak[by : by + held] for by in range(WINDOWS_HELD)])
    even = np.ptp(peaks, axis=0) <= EVEN_SHARE * peaks.max(axis=0)
    return np.where(even, beats.min(axis=0), 0.0)


def _around(power: Any, peak: Any) -> Any:
    """Of summed power, what lies within one bin of a window's own of the peak: a Hann window's
    spread of one beat. None beyond the last bin."""
    last = power.shape[-1] - 1
    high, low = (np.clip(peak + by, 0, last)[..., None] for by in (FINER, -FINER - 1))
    pieces = (np.take_along_axis(power, edge, axis=-1)[..., 0] for edge in (high, low))
    return np.subtract(*pieces)


def _mean_along(values: Any, size: int) -> Any:
    """The mean over `size` neighbouring strips of the same row."""
    padded = np.pad(values, ((0, 0), (size // 2 + 1, size - size // 2 - 1)), mode="edge")
    total = np.cumsum(padded, axis=1)
    return (total[:, size:] - total[:, :-size]) / size


def _run(mask: Any, at: int) -> tuple[int, int]:
    """First and last index of the unbroken run of truths about `at`."""
    low = high = at
    while low > 0 and mask[low - 1]:
        low -= 1
    while high < len(mask) - 1 and mask[high + 1]:
        high += 1
    return low, high
