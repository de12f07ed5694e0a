"""The service's side of the decoding process: one a process, begun when needed, used for many."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from shutil import copyfileobj
from threading import Lock
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from jobs.evidence.decoding.limits import PHOTOS_A_PROCESS, WALL_SECONDS
from jobs.evidence.decoding.messages import Ended, receive, send
from jobs.evidence.exif import ExifFacts
from jobs.evidence.looks import Look
from jobs.evidence.media_types import HEIC, JPEG, PNG, WEBP

KINDS = {JPEG: "JPEG", PNG: "PNG", WEBP: "WEBP", HEIC: "HEIF"}
PROJECT_FOLDER = Path(__file__).resolve().parents[3]
START_SECONDS = 60.0

# Why a photo could not be opened.
PIXELS, UNREADABLE, MEMORY, GAVE_UP = "pixels", "unreadable", "memory", "gave_up"


class CannotOpen(Exception):
    """trouble: pixels, unreadable, memory, or gave_up (it ended the process, or took too long)."""

    def __init__(self, trouble: str, pixels: int | None = None) -> None:
        super().__init__(trouble)
        self.trouble = trouble
        self.pixels = pixels


class DecoderDown(OSError):
    """No decoding process can be started. Not the photo's doing: try again later."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What the decoding process found. display, thumb: JPEG without any metadata."""

    width_px: int
    height_px: int
    exif: ExifFacts
    look: Look
    display: bytes
    thumb: bytes


@dataclass
class Decoder:
    """One decoding process and the line to it. Threads take turns."""

    process: subprocess.Popen[bytes] | None = None
    channel: socket.socket | None = None
    owner: int = 0
    used: int = 0
    lock: Any = field(default_factory=Lock)

    def ask(self, way: str, file: IO[bytes], media_type: str) -> tuple[dict[str, Any], list[bytes]]:
        """Raises CannotOpen; DecoderDown if no process can be started, which says nothing of it.

        A process that ends over a photo is started once more, since the machine may have been
        short of memory; twice over the same photo is the photo's doing.
        """
        message = {"way": way, "kind": KINDS[media_type]}
        with self.lock, _descriptor_of(file) as descriptor:
            for _ in range(2):
                channel = self._running()
                try:
                    send(channel, message, files=[descriptor])
                    told, blobs, _ = receive(channel)
                except TimeoutError:
                    self.stop()
                    break
                except (Ended, OSError, ValueError):
                    self.stop()
                    continue
                self.used += 1
                if "trouble" in told:
                    raise CannotOpen(told["trouble"], told.get("pixels"))
                return told, blobs
        raise CannotOpen(GAVE_UP)

    def _running(self) -> socket.socket:
        if self.channel is not None and self.owner == os.getpid() and self.used < PHOTOS_A_PROCESS:
            return self.channel
        self.stop()
        ours, theirs = socket.socketpair()
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "jobs.evidence.decoding.child", str(theirs.fileno())],
                cwd=PROJECT_FOLDER,
                env=bare_environment(),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
            )
        self.channel, self.owner, self.used = ours, os.getpid(), 0
        ours.settimeout(START_SECONDS)
        try:
            receive(ours)
        except (Ended, OSError) as error:
            self.stop()
            raise DecoderDown("The process that opens photos can't be started.") from error
        ours.settimeout(WALL_SECONDS)
        return ours

    def stop(self) -> None:
        """End the process, if it is this process's own."""
        if self.channel is not None:
            self.channel.close()
        if self.process is not None and self.owner == os.getpid():
            with contextlib.suppress(ProcessLookupError):
                self.process.kill()
            self.process.wait()
        self.process = self.channel = None


def bare_environment() -> dict[str, str]:
    """Neither secrets nor addresses of servers reach the process that opens strangers' files."""
    kept = ("PATH", "LANG", "LC_ALL", "TZDIR", "LD_LIBRARY_PATH", "VIRTUAL_ENV")
    return {
        **{name: os.environ[name] for name in kept if name in os.environ},
        "PYTHONPATH": str(PROJECT_FOLDER),
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "MALLOC_ARENA_MAX": "2",
    }


@contextmanager
def _descriptor_of(file: IO[bytes]) -> Iterator[int]:
    """A descriptor to read the file by, of its own place in it; a remote file is fetched."""
    try:
        number = file.fileno()
    except (OSError, AttributeError):
        with tempfile.TemporaryFile() as local:
            file.seek(0)
            copyfileobj(file, local)
            local.flush()
            with _reopened(local.fileno()) as again:
                yield again
        return
    if file.writable():
        file.flush()
    with _reopened(number) as again:
        yield again


@contextmanager
def _reopened(number: int) -> Iterator[int]:
    again = os.open(f"/proc/self/fd/{number}", os.O_RDONLY | os.O_CLOEXEC)
    try:
        yield again
    finally:
        os.close(again)


DECODER = Decoder()


def see(file: IO[bytes], media_type: str) -> Seen:
    """Look at a stored photo. Raises CannotOpen."""
    told, (sample, display, thumb) = DECODER.ask("look", file, media_type)
    facts = told["exif"]
    if facts["taken_at"] is not None:
        facts["taken_at"] = datetime.fromisoformat(facts["taken_at"])
    look = Look(
        mean=told["mean"],
        brightest=told["brightest"],
        sharpness=told["sharpness"],
        sample=_grey(sample, told["sample_shape"]),
        hashes=tuple(told["hashes"]),
    )
    return Seen(told["width_px"], told["height_px"], ExifFacts(**facts), look, display, thumb)


def size_of(file: IO[bytes], media_type: str) -> tuple[int, int]:
    """Width and height as the header claims. Raises CannotOpen."""
    told, _ = DECODER.ask("probe", file, media_type)
    return told["width_px"], told["height_px"]


def crop_of_gauge(file: IO[bytes], media_type: str = JPEG) -> bytes | None:
    """A JPEG of the gauge in a copy, large enough to read; None where none stands out. Raises
    CannotOpen."""
    told, (crop,) = DECODER.ask("gauge", file, media_type)
    return crop if told["found"] else None


def grey_sample(file: IO[bytes], media_type: str = JPEG) -> NDArray[np.uint8]:
    """The grey sample of a small copy, to compare by. Raises CannotOpen."""
    told, (values,) = DECODER.ask("sample", file, media_type)
    return _grey(values, told["sample_shape"])


def _grey(values: bytes, shape: list[int]) -> NDArray[np.uint8]:
    return np.frombuffer(values, dtype=np.uint8).reshape(shape)
