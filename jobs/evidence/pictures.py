"""Reading a stored picture within bounds: its size first, then no more than is needed."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import IO, BinaryIO

import pillow_heif
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from jobs.errors import Refused
from jobs.evidence.exif import ExifFacts, read_exif
from jobs.evidence.media_types import HEIC, JPEG, PNG, TAKE_AGAIN, WEBP

pillow_heif.register_heif_opener(thumbnails=False)

PIXEL_LIMIT = 110_000_000
"""Phones take up to 108 megapixels. A header that claims more is not decoded at all."""
SIDE_LIMIT_PX = 30_000

DISPLAY_PX = 1600
THUMB_PX = 320
JPEG_QUALITY = 82

FORMATS: dict[str, tuple[str, ...]] = {
    JPEG: ("JPEG",),
    PNG: ("PNG",),
    WEBP: ("WEBP",),
    HEIC: ("HEIF",),
}

# Pillow refuses by itself at twice this; we refuse at once.
Image.MAX_IMAGE_PIXELS = PIXEL_LIMIT

UNREADABLE = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    RuntimeError,
    OverflowError,
    struct.error,
)
"""What Pillow and its decoders raise for a picture that is not one."""


class Unreadable(Exception):
    """The bytes have a photo's beginning but no picture could be made of them."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded photo: upright, RGB, at most DISPLAY_PX long; and what its file said."""

    image: Image.Image
    width_px: int
    height_px: int
    exif: ExifFacts


def require_decodable_size(file: BinaryIO, media_type: str) -> None:
    """Look at the header only. Raises Refused for a picture that must not be decoded."""
    file.seek(0)
    try:
        with Image.open(file, formats=FORMATS[media_type]) as image:
            width, height = image.size
    except Image.DecompressionBombError:
        raise _too_large(None) from None
    except UNREADABLE:
        raise Refused(
            "This file begins like a photo, but no picture is in it.",
            field="file",
            remedy=TAKE_AGAIN,
        ) from None
    if width * height > PIXEL_LIMIT or max(width, height) > SIDE_LIMIT_PX:
        raise _too_large(width * height)
    if min(width, height) < 1:
        raise Refused("This picture has no size.", field="file", remedy=TAKE_AGAIN)


def _too_large(pixels: int | None) -> Refused:
    claimed = f"{pixels / 1e6:.0f} megapixels" if pixels else "far too many pixels"
    return Refused(
        f"This picture claims {claimed}; {PIXEL_LIMIT // 1_000_000} are the most.",
        field="file",
        remedy="Choose a smaller picture size in the camera's settings.",
    )


def read_picture(file: IO[bytes], media_type: str) -> Picture:
    """Decode a stored photo.

    Raises:
        Unreadable: it is broken, or larger than may be decoded.
    """
    try:
        with Image.open(file, formats=FORMATS[media_type]) as image:
            width, height = image.size
            if width * height > PIXEL_LIMIT or max(width, height) > SIDE_LIMIT_PX:
                raise Unreadable(f"It claims {width} x {height} pixels.")
            facts = read_exif(image)
            # A JPEG is decoded straight to a smaller size; thumbnail() asks its decoder for it.
            image.thumbnail((DISPLAY_PX, DISPLAY_PX), Image.Resampling.BICUBIC, reducing_gap=1.2)
            upright = ImageOps.exif_transpose(image)
            turned = upright.size[0] != image.size[0]
            return Picture(
                _plain_rgb(upright),
                height if turned else width,
                width if turned else height,
                facts,
            )
    except UNREADABLE as error:
        raise Unreadable(str(error)[:200]) from error


def _plain_rgb(image: Image.Image) -> Image.Image:
    """The picture in sRGB on white, in a new image that carries nothing of the file's words."""
    profile = image.info.get("icc_profile")
    if image.mode in ("RGBA", "LA", "PA", "P"):
        image = image.convert("RGBA")
        ground = Image.new("RGB", image.size, "white")
        ground.paste(image, mask=image.getchannel("A"))
        return ground
    if image.mode == "I;16":
        image = image.point(lambda level: level / 256).convert("L")
    rgb = image.convert("RGB")
    if profile and image.mode == "RGB":
        rgb = _to_srgb(rgb, profile)
    plain = Image.new("RGB", rgb.size)
    plain.paste(rgb)
    return plain


def _to_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        changed = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image  # a broken profile costs true colours, not the photo
    return changed or image


def as_jpeg(image: Image.Image, longest_px: int) -> bytes:
    """The picture as a JPEG no longer than `longest_px`, without any metadata."""
    copy = image.copy()
    copy.thumbnail((longest_px, longest_px), Image.Resampling.BICUBIC)
    copy.info.clear()
    file = io.BytesIO()
    copy.save(file, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return file.getvalue()
