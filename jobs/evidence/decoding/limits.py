"""How much a photo may ask for, and how the decoding process binds itself. No Django here."""

from __future__ import annotations

import math
import resource

PIXEL_LIMIT = 110_000_000
"""Phones take up to 108 megapixels. A header that claims more is not decoded at all."""
SIDE_LIMIT_PX = 30_000

ADDRESS_SPACE_BYTES = 1_600_000_000
"""Room for 110 megapixels in four channels, twice, and the libraries [measured; see
benchmarks/photo_intake.py]."""
PROCESSOR_SECONDS = 20
WALL_SECONDS = 45.0
PHOTOS_A_PROCESS = 200
OPEN_FILES = 48


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
