"""How fast a core looks at photos, against no more than decoding and hashing the same files.

    python -m benchmarks.photo_intake [photos]

Drawn photos at 12 megapixels (4000 x 3000) in the formats that phones write. Without database and
broker: what is measured is reading, EXIF, light, sharpness, hashes and the two small copies.
Processor time, of this process and of the decoding process it starts.
"""

from __future__ import annotations

import hashlib
import io
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable

import django
import pillow_heif
from PIL import Image

django.setup()

from deploy.demo.pictures import Snapshot, draw_loft_photo, exif_of  # noqa: E402
from jobs.evidence.decoding.client import DECODER, KINDS, Decoder, see, size_of  # noqa: E402
from jobs.evidence.decoding.picture import as_jpeg, read_picture, thumb_of  # noqa: E402
from jobs.evidence.looks import look_of  # noqa: E402
from jobs.evidence.media_types import HEIC, JPEG, PNG, WEBP, require_whole, sniff  # noqa: E402

pillow_heif.register_heif_opener()


def large_photo(seed: int, media_type: str = JPEG) -> bytes:
    """A drawn photo enlarged to 12 megapixels, with its EXIF."""
    snapshot = Snapshot(seed, depth_mm=80)
    options = {
        JPEG: {"quality": 88},
        PNG: {"compress_level": 1},
        WEBP: {"quality": 70, "method": 0},
        HEIC: {"quality": 60, "enc_params": {"preset": "ultrafast"}},
    }[media_type]
    with Image.open(io.BytesIO(draw_loft_photo(snapshot))) as image:
        file = io.BytesIO()
        large = image.resize((4000, 3000))
        large.save(file, KINDS[media_type], exif=exif_of(snapshot), **options)
    return file.getvalue()


def bare(content: bytes, media_type: str) -> None:
    """The least anyone must do: hash the bytes, decode the picture."""
    hashlib.sha256(content).digest()
    with Image.open(io.BytesIO(content), formats=(KINDS[media_type],)) as image:
        image.load()


def checked(content: bytes, media_type: str) -> None:
    """What an upload waits for at its end: kind, wholeness, size, hash."""
    with tempfile.TemporaryFile() as file:
        file.write(content)
        require_whole(file, sniff(content[:512]), len(content))
        size_of(file, media_type)
    hashlib.sha256(content).digest()


def here(content: bytes, media_type: str) -> None:
    """The inspection's work on a picture, in this process."""
    picture = read_picture(io.BytesIO(content), KINDS[media_type])
    look_of(picture.image)
    as_jpeg(picture.image)
    as_jpeg(thumb_of(picture.image))


def inspected(content: bytes, media_type: str) -> None:
    """What the task does: the same in the bound process, with the way there and back."""
    with tempfile.TemporaryFile() as file:
        file.write(content)
        see(file, media_type)


def alone(content: bytes, media_type: str) -> None:
    """The same with a new process for each photo."""
    one = Decoder()
    with tempfile.TemporaryFile() as file:
        file.write(content)
        one.ask("look", file, media_type)
    one.stop()


def processor_s() -> float:
    """Seconds of this process, of ended children, and of the decoding process that runs."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    running = 0.0
    if DECODER.process is not None:
        with open(f"/proc/{DECODER.process.pid}/stat", encoding="ascii") as file:
            fields = file.read().rpartition(")")[2].split()
        running = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return time.process_time() + ended.ru_utime + ended.ru_stime + running


def rate(act: Callable[[bytes, str], None], photos: list[bytes], media_type: str) -> float:
    """Photos a second of processor time, after one that warms up."""
    act(photos[0], media_type)
    began = processor_s()
    for photo in photos:
        act(photo, media_type)
    return len(photos) / (processor_s() - began)


def memory_mb() -> tuple[float, float]:
    """What the decoding process took at most: resident, and of address space."""
    assert DECODER.process is not None
    with open(f"/proc/{DECODER.process.pid}/status", encoding="ascii") as file:
        told = dict(line.split(":", 1) for line in file)
    resident, space = (int(told[name].split()[0]) / 1000 for name in ("VmHWM", "VmPeak"))
    return resident, space


ACTS: tuple[tuple[str, Callable[[bytes, str], None]], ...] = (
    ("upload checks and SHA-256", checked),
    ("inspection, in this process", here),
    ("inspection, in the bound process", inspected),
    ("inspection, a new process each", alone),
)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(f"load average {os.getloadavg()[0]:.1f}; processor time of one core")
    for media_type in (JPEG, HEIC, WEBP, PNG):
        number = count if media_type == JPEG else max(3, count // 8)
        photos = [large_photo(seed, media_type) for seed in range(number)]
        megabytes = sum(map(len, photos)) / number / 1e6
        least = rate(bare, photos, media_type)
        print(f"\n{number} {media_type} of 12 megapixels, {megabytes:.1f} MB each")
        print(f"{'decode and SHA-256 alone':34} {least:7.1f} photos/s", flush=True)
        for name, act in ACTS:
            found = rate(act, photos if act is not alone else photos[:10], media_type)
            print(f"{name:34} {found:7.1f} photos/s  {found / least:5.2f} of it", flush=True)
        resident, space = memory_mb()
        print(f"the bound process took up to {resident:.0f} MB, {space:.0f} MB of addresses")


if __name__ == "__main__":
    main()
