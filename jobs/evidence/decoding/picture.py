"""A picture from a file: its size first, then no more than is needed. No Django here."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import IO, Any

import pillow_heif
from PIL import (
    Image,
    ImageCms,
    JpegImagePlugin,
    PngImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)

from jobs.evidence.decoding.limits import PIXEL_LIMIT, SIDE_LIMIT_PX, most_pixels
from jobs.evidence.exif import ExifFacts, read_exif

pillow_heif.register_heif_opener(thumbnails=False)

# Everything a photo needs is loaded before the process is bound; nothing else can be opened.
PLUGINS = (JpegImagePlugin, PngImagePlugin, WebPImagePlugin)

DISPLAY_PX = 1600
"""The longest side of the display copy is at least this, where the photo has so much."""
DISPLAY_AS_IT_IS_PX = 2240
"""And a photo that comes out of its decoder up to this size is not resized at all."""
THUMB_PX = 320
JPEG_QUALITY = 82

# EXIF's Orientation (tag 0x0112), and what makes such a picture upright.
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

# Pillow refuses by itself at twice this; we refuse at once.
Image.MAX_IMAGE_PIXELS = PIXEL_LIMIT

BROKEN = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    RuntimeError,
    OverflowError,
    KeyError,
    IndexError,
    TypeError,
    AttributeError,
    struct.error,
    ZeroDivisionError,
)
"""What Pillow and its decoders raise for a picture that is not one."""


class TooManyPixels(Exception):
    """The header claims more than may be decoded. pixels: how many, None if beyond counting."""

    def __init__(self, pixels: int | None) -> None:
        super().__init__(f"{pixels} pixels")
        self.pixels = pixels


class Unreadable(Exception):
    """The bytes have a photo's beginning but no picture could be made of them."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A decoded photo: upright, RGB, small; its true size, upright; what its file said."""

    image: Image.Image
    width_px: int
    height_px: int
    exif: ExifFacts


def look_at_header(file: IO[bytes], kind: str) -> tuple[int, int]:
    """Width and height as the file claims, nothing decoded. kind: Pillow's name of the format.

    Raises:
        TooManyPixels: it must not be decoded. Unreadable: no picture is in it.
    """
    try:
        with Image.open(file, formats=(kind,)) as image:
            width, height = image.size
    except Image.DecompressionBombError:
        raise TooManyPixels(None) from None
    except BROKEN as error:
        raise Unreadable(str(error)[:200]) from error
    if width * height > most_pixels(kind) or max(width, height) > SIDE_LIMIT_PX:
        raise TooManyPixels(width * height)
    if min(width, height) < 1:
        raise Unreadable("It has no size.")
    return width, height


def read_picture(file: IO[bytes], kind: str) -> Picture:
    """Decode a photo. Raises TooManyPixels, Unreadable."""
    width, height = look_at_header(file, kind)
    file.seek(0)
    try:
        with Image.open(file, formats=(kind,)) as image:
            facts = read_exif(image)
            # A JPEG's decoder makes it smaller by itself, at a third of the cost.
            image.draft(None, _at_least(width, height))
            image.load()
            small = _plain_rgb(_made_small(image), image.info.get("icc_profile"))
            turned = facts.orientation in (5, 6, 7, 8)
            return Picture(
                _upright(small, facts.orientation),
                height if turned else width,
                width if turned else height,
                facts,
            )
    except BROKEN as error:
        raise Unreadable(str(error)[:200]) from error


def _at_least(width: int, height: int) -> tuple[int, int]:
    share = min(1.0, DISPLAY_PX / max(width, height))
    return max(1, round(width * share)), max(1, round(height * share))


def _made_small(image: Image.Image) -> Image.Image:
    """No longer than 2400 px: by whole factors, which is cheap, or to DISPLAY_PX."""
    if image.mode in ("P", "1", "PA") or "transparency" in image.info:
        image = image.convert("RGBA" if image.has_transparency_data else "RGB")
    elif image.mode.startswith("I") or image.mode == "F":
        image = _eight_bits(image)
    longest = max(image.size)
    if longest <= DISPLAY_AS_IT_IS_PX:
        return image
    factor = longest // DISPLAY_PX
    if factor >= 2:
        return image.reduce(factor)
    return image.resize(_at_least(*image.size), Image.Resampling.BILINEAR)


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    turn = TURNS.get(orientation)
    return image if turn is None else image.transpose(turn)


def _eight_bits(image: Image.Image) -> Image.Image:
    """Sixteen bits of grey in eight; floats, which no camera writes, as they come."""
    if image.mode == "F":
        return image.convert("L")
    return image.point(lambda level: level / 256).convert("L")


def _plain_rgb(image: Image.Image, icc: bytes | None) -> Image.Image:
    """The picture in sRGB on white, in an image that carries nothing of the file's words."""
    if image.mode in ("RGBA", "LA"):
        rgba = image.convert("RGBA")
        rgb = Image.new("RGB", rgba.size, "white")
        rgb.paste(rgba, mask=rgba.getchannel("A"))
    else:
        rgb = image.convert("RGB")
    if icc and image.mode in ("RGB", "RGBA"):
        rgb = _to_srgb(rgb, icc)
    rgb.info = {}
    return rgb


def _to_srgb(image: Image.Image, icc: bytes) -> Image.Image:
    try:
        transform = _transform_from(icc)
        return (transform and ImageCms.applyTransform(image, transform)) or image
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image  # a broken profile costs true colours, not the photo


@lru_cache(maxsize=8)
def _transform_from(icc: bytes) -> Any:
    """Phones write one of few profiles; making a transform costs as much as using it."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    return ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), "RGB", "RGB")


def as_jpeg(image: Image.Image) -> bytes:
    """The picture as a JPEG without any metadata."""
    file = io.BytesIO()
    image.save(file, "JPEG", quality=JPEG_QUALITY)
    return file.getvalue()


def thumb_of(image: Image.Image) -> Image.Image:
    """A copy no longer than THUMB_PX."""
    longest = max(image.size)
    if longest <= THUMB_PX:
        return image
    near = image.reduce(max(1, longest // (2 * THUMB_PX)))
    share = THUMB_PX / max(near.size)
    size = tuple(max(1, round(side * share)) for side in near.size)
    return near.resize(size, Image.Resampling.BOX)  # type: ignore[arg-type]
