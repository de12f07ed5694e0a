"""A look at a photo's header while it is taken in, in words for who sent it."""

from __future__ import annotations

from typing import IO

from jobs.errors import Refused
from jobs.evidence.decoding.client import KINDS, MEMORY, PIXELS, CannotOpen, size_of
from jobs.evidence.decoding.limits import most_pixels
from jobs.evidence.media_types import TAKE_AGAIN

SMALLER = "Choose a smaller picture size in the camera's settings."


def require_decodable(file: IO[bytes], media_type: str) -> None:
    """Raises Refused for a file in which no picture is, or one that must not be decoded."""
    try:
        size_of(file, media_type)
    except CannotOpen as error:
        raise _refusal(error, most_pixels(KINDS[media_type])) from error


def _refusal(error: CannotOpen, most: int) -> Refused:
    if error.trouble in (PIXELS, MEMORY):
        claimed = f"{error.pixels / 1e6:.0f} megapixels" if error.pixels else "far too many pixels"
        return Refused(
            f"This picture claims {claimed}; {most // 1_000_000} megapixels are the most.",
            field="file",
            remedy=SMALLER,
        )
    return Refused(
        "This file begins like a photo, but no picture is in it.", field="file", remedy=TAKE_AGAIN
    )
