"""How fast a core looks at photos, against no more than decoding and hashing the same files.

    python -m benchmarks.photo_intake [photos]

Drawn photos at 12 megapixels (4000 x 3000). Without database and broker: what is measured is
reading, EXIF, light, sharpness, perceptual hash and the two small copies.
"""

from __future__ import annotations

import hashlib
import io
import sys
import time
from collections.abc import Callable

from PIL import Image

from deploy.demo.pictures import Snapshot, draw_loft_photo, exif_of
from jobs.evidence.looks import grey_of, is_blurred, is_too_dark, perceptual_hash
from jobs.evidence.media_types import JPEG, require_whole, sniff
from jobs.evidence.pictures import (
    DISPLAY_PX,
    THUMB_PX,
    as_jpeg,
    read_picture,
    require_decodable_size,
)


def large_photo(seed: int) -> bytes:
    """A drawn photo enlarged to 12 megapixels, with its EXIF."""
    snapshot = Snapshot(seed, depth_mm=80)
    with Image.open(io.BytesIO(draw_loft_photo(snapshot))) as image:
        file = io.BytesIO()
        image.resize((4000, 3000)).save(file, "JPEG", quality=88, exif=exif_of(snapshot))
    return file.getvalue()


def bare(content: bytes) -> None:
    """The least anyone must do: hash the bytes, decode the picture."""
    hashlib.sha256(content).digest()
    with Image.open(io.BytesIO(content)) as image:
        image.load()


def checked(content: bytes) -> None:
    """What the upload waits for: kind, wholeness, size, hash."""
    file = io.BytesIO(content)
    require_whole(file, sniff(content[:512]), len(content))
    require_decodable_size(file, JPEG)
    hashlib.sha256(content).digest()


def inspected(content: bytes) -> None:
    """What the task does."""
    picture = read_picture(io.BytesIO(content), JPEG)
    perceptual_hash(picture.image)
    grey = grey_of(picture.image)
    is_too_dark(grey)
    is_blurred(grey)
    as_jpeg(picture.image, DISPLAY_PX)
    as_jpeg(picture.image, THUMB_PX)


def rate(act: Callable[[bytes], None], photos: list[bytes]) -> float:
    """Photos a second of processor time."""
    began = time.process_time()
    for photo in photos:
        act(photo)
    return len(photos) / (time.process_time() - began)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    photos = [large_photo(seed) for seed in range(count)]
    megabytes = sum(map(len, photos)) / count / 1e6
    least = rate(bare, photos)
    print(f"{count} photos of 12 megapixels, {megabytes:.1f} MB each, processor time of one core")
    print(f"decode and SHA-256 alone   {least:7.1f} photos/s")
    for name, act in (("upload checks and SHA-256", checked), ("inspection", inspected)):
        found = rate(act, photos)
        print(f"{name:26} {found:7.1f} photos/s  {found / least:5.2f} of the bare decode")


if __name__ == "__main__":
    main()
