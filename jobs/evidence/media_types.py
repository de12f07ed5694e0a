"""Which kind of picture a file is, told by its bytes and never by its name.

Also whether the file is whole: a photo whose end is missing is refused while the installer
can still take it again. Nothing is decoded here.
"""

from __future__ import annotations

from codecs import getincrementaldecoder
from typing import BinaryIO

from jobs.errors import Refused

JPEG, PNG, HEIC, WEBP = "image/jpeg", "image/png", "image/heic", "image/webp"
HEAD_BYTES = 512

ENDINGS: dict[str, str] = {JPEG: "jpg", PNG: "png", HEIC: "heic", WEBP: "webp"}

HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})

TAKE_AGAIN = "Take the photo again with the phone's camera."
AS_JPEG = "Set the camera to JPEG or HEIC and take it again."

# Beginnings of what people or programs send instead of a photo: bytes, what it is, the remedy.
NO_PHOTOS: tuple[tuple[bytes, str, str], ...] = (
    (b"GIF8", "a GIF picture", AS_JPEG),
    (b"BM", "a bitmap picture", AS_JPEG),
    (b"II*\x00", "a raw or TIFF picture", AS_JPEG),
    (b"MM\x00*", "a raw or TIFF picture", AS_JPEG),
    (b"%PDF", "a PDF document", TAKE_AGAIN),
    (b"PK\x03\x04", "an archive or office document", TAKE_AGAIN),
    (b"MZ", "a program", TAKE_AGAIN),
    (b"\x7fELF", "a program", TAKE_AGAIN),
    (b"#!", "a script", TAKE_AGAIN),
    (b"\x1f\x8b", "an archive", TAKE_AGAIN),
    (b"\x1aE\xdf\xa3", "a video", "Take a photo instead of a video."),
)


class NotAPhoto(Refused):
    """A file of another kind. Its remedy is for who holds the camera, not for an office."""


def sniff(head: bytes) -> str:
    """The media type of a photo that begins with `head`.

    Raises:
        NotAPhoto: it is empty, or anything else than JPEG, PNG, HEIC or WebP.
    """
    if not head:
        raise _not_a_photo("is empty: the phone had not finished saving it", TAKE_AGAIN)
    if head.startswith(b"\xff\xd8\xff"):
        return JPEG
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return WEBP
    if head[4:8] == b"ftyp":
        return _sniff_boxes(head)
    for beginning, what, remedy in NO_PHOTOS:
        if head.startswith(beginning):
            raise _not_a_photo(f"is {what}, not a photo", remedy)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        raise _not_a_photo("is a web page or drawing, not a photo", TAKE_AGAIN)
    if _is_text(head):
        raise _not_a_photo("is a text, not a photo", TAKE_AGAIN)
    raise _not_a_photo("is no photo that can be kept as proof", AS_JPEG)


def _is_text(head: bytes) -> bool:
    """Whether these are words in UTF-8, of which the end of `head` may cut the last in two."""
    try:
        words = getincrementaldecoder("utf-8-sig")().decode(head)
    except UnicodeDecodeError:
        return False
    return all(sign.isprintable() or sign in "\t\r\n" for sign in words)


def _sniff_boxes(head: bytes) -> str:
    """Files of ISO base media boxes: HEIC photos, but videos and AVIF too."""
    length = int.from_bytes(head[:4], "big")
    brands = {head[at : at + 4] for at in (8, *range(16, min(length, len(head)) - 3, 4))}
    if head[8:12] in (b"avif", b"avis") or b"avif" in brands:
        raise _not_a_photo("is an AVIF picture", AS_JPEG)
    if brands & HEIC_BRANDS:
        return HEIC
    raise _not_a_photo("is a video, not a photo", "Take a photo instead of a video.")


def require_whole(file: BinaryIO, media_type: str, size_bytes: int) -> None:
    """Raises Refused when the end of the photo is missing."""
    whole = {JPEG: _jpeg_is_whole, PNG: _png_is_whole, WEBP: _webp_is_whole, HEIC: _heic_is_whole}
    if not whole[media_type](file, size_bytes):
        raise _refused(
            "broke off on the way: its end is missing",
            "Send it again. If that fails, take it again.",
        )


def _jpeg_is_whole(file: BinaryIO, size_bytes: int) -> bool:
    """The segments lead to a scan (ITU-T T.81, annex B) and an end mark comes after it."""
    at = 2
    while True:
        file.seek(at)
        head = file.read(4)
        if len(head) < 4 or head[0] != 0xFF:
            return False
        if head[1] == 0xFF:  # a fill byte before a marker
            at += 1
            continue
        if head[1] == 0xDA:
            return _found_after(file, at, b"\xff\xd9")
        length = int.from_bytes(head[2:], "big")
        if length < 2:
            return False
        at += 2 + length
        if at >= size_bytes:
            return False


def _found_after(file: BinaryIO, start: int, wanted: bytes) -> bool:
    file.seek(start)
    kept = b""
    while chunk := file.read(1 << 20):
        if wanted in kept + chunk:
            return True
        kept = chunk[-len(wanted) + 1 :]
    return False


def _png_is_whole(file: BinaryIO, size_bytes: int) -> bool:
    """The chunks lead to IEND (PNG, third edition, section 5)."""
    at = 8
    while at + 12 <= size_bytes:
        file.seek(at)
        head = file.read(8)
        if head[4:] == b"IEND":
            return True
        at += 12 + int.from_bytes(head[:4], "big")
    return False


def _webp_is_whole(file: BinaryIO, size_bytes: int) -> bool:
    file.seek(4)
    return int.from_bytes(file.read(4), "little") + 8 <= size_bytes


def _heic_is_whole(file: BinaryIO, size_bytes: int) -> bool:
    """Every top-level box (ISO/IEC 14496-12, section 4.2) ends inside the file."""
    at = 0
    names = set()
    while at + 8 <= size_bytes:
        file.seek(at)
        head = file.read(16)
        length = int.from_bytes(head[:4], "big")
        names.add(head[4:8])
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        if length == 0:
            length = size_bytes - at
        if length < 8:
            return False
        at += length
    return at <= size_bytes and b"meta" in names


def _not_a_photo(what: str, remedy: str) -> NotAPhoto:
    return NotAPhoto(f"This file {what}.", field="file", remedy=remedy)


def _refused(what: str, remedy: str) -> Refused:
    return Refused(f"This file {what}.", field="file", remedy=remedy)
