"""The decoding process: `python -m jobs.evidence.decoding.child DESCRIPTOR`.

It binds itself, then answers one message after another until the service goes away. Whatever a
file does to it, the service gets an answer or the end of the line, and starts another.
"""

from __future__ import annotations

import os
import socket
import sys
from dataclasses import asdict
from typing import IO, Any

from PIL import Image

from jobs.evidence.decoding.limits import allow_one_photo, bind_process
from jobs.evidence.decoding.messages import Ended, receive, send
from jobs.evidence.decoding.picture import (
    TooManyPixels,
    Unreadable,
    as_jpeg,
    look_at_header,
    read_picture,
    thumb_of,
)
from jobs.evidence.gauges import gauge_crop
from jobs.evidence.looks import SAMPLE_PX, grey_of, look_of

Answer = tuple[dict[str, Any], list[bytes]]


def look_at(file: IO[bytes], kind: str) -> Answer:
    """Everything the inspection wants to know, and the two copies."""
    picture = read_picture(file, kind)
    look = look_of(picture.image)
    facts = asdict(picture.exif)
    facts["taken_at"] = picture.exif.taken_at.isoformat() if picture.exif.taken_at else None
    message = {
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "exif": facts,
        "mean": look.mean,
        "brightest": look.brightest,
        "sharpness": look.sharpness,
        "hashes": look.hashes,
        "sample_shape": look.sample.shape,
    }
    return message, [
        look.sample.tobytes(),
        as_jpeg(picture.image),
        as_jpeg(thumb_of(picture.image)),
    ]


def probe(file: IO[bytes], kind: str) -> Answer:
    width, height = look_at_header(file, kind)
    return {"width_px": width, "height_px": height}, []


def sample(file: IO[bytes], kind: str) -> Answer:
    """The grey sample of a small copy."""
    look_at_header(file, kind)
    file.seek(0)
    try:
        with Image.open(file, formats=(kind,)) as image:
            grey = grey_of(image, SAMPLE_PX)
    except Exception as error:
        raise Unreadable(str(error)[:200]) from error
    return {"sample_shape": (grey.size[1], grey.size[0])}, [grey.tobytes()]


def gauge(file: IO[bytes], kind: str) -> Answer:
    """A crop of the gauge in a copy, if one is found."""
    crop = gauge_crop(read_picture(file, kind).image)
    return {"found": crop is not None}, [crop or b""]


WAYS = {"look": look_at, "probe": probe, "sample": sample, "gauge": gauge}


def answer_to(message: dict[str, Any], file: IO[bytes]) -> Answer:
    try:
        file.seek(0)
        return WAYS[message["way"]](file, message["kind"])
    except TooManyPixels as error:
        return {"trouble": "pixels", "pixels": error.pixels}, []
    except Unreadable as error:
        return {"trouble": "unreadable", "why": str(error)}, []
    except MemoryError:
        return {"trouble": "memory"}, []


def main(descriptor: int) -> None:
    sys.stdin.close()
    channel = socket.socket(fileno=descriptor)
    warm_up()
    bind_process()
    send(channel, {"ready": True})
    while True:
        try:
            message, _, files = receive(channel)
        except (Ended, OSError):
            return
        allow_one_photo()
        with os.fdopen(files[0], "rb") as file:
            told, blobs = answer_to(message, file)
        send(channel, told, blobs)


def warm_up() -> None:
    """Load what is loaded at first use, while files may still be opened freely."""
    as_jpeg(thumb_of(Image.new("RGB", (800, 600), "tan")))
    look_of(Image.linear_gradient("L").convert("RGB"))


if __name__ == "__main__":
    main(int(sys.argv[1]))
