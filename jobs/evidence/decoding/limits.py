"""How much a photo may ask for, and how the decoding process binds itself. No Django here."""

from __future__ import annotations

import math
import resource

PIXEL_LIMIT = 110_000_000
"""Phones take up to 108 megapixels. A header that claims more is not decoded at all."""
WEBP_PIXEL_LIMIT = 80_000_000
"""WebP's decoder holds the picture four times over."""
SIDE_LIMIT_PX = 30_000

ADDRESS_SPACE_BYTES = 1_600_000_000
"""What the largest photos ask for, and room to spare: PNG of 108 megapixels in four channels took
1.03 GB, progressive JPEG 0.52 GB [measured]."""
PROCESSOR_SECONDS = 20
WALL_SECONDS = 45.0
PHOTOS_A_PROCESS = 200
OPEN_FILES = 48


def most_pixels(kind: str) -> int:
    """Of a format by Pillow's name."""
    return WEBP_PIXEL_LIMIT if kind == "WEBP" else PIXEL_LIMIT


def bind_process() -> None:
    """For the whole life of the decoding process: memory, no file written, no core dump."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE_BYTES, ADDRESS_SPACE_BYTES))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES))


def allow_one_photo() -> None:
    """So many seconds of processor time from now on; the kernel ends the process after them."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = math.ceil(used.ru_utime + used.ru_stime) + PROCESSOR_SECONDS
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))
