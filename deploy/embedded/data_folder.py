"""The one folder that holds everything of an embedded service."""

from __future__ import annotations

import fcntl
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from deploy.embedded.console import StartUpError
from deploy.embedded.private_files import make_private_folder, read_or_make_secret, write_private

SIGN = "EAVESBOOK-DATA.txt"
LOCK = "lock"
SIGN_TEXT = """This folder holds all data of one Eavesbook service started by deploy/up:
postgres   the database              media    photos and documents
valkey     queue and cache           secrets  keys and passwords, keep them to yourself
logs       what each process said    keys     what signs certificates and seals, keep it too
static, beat, run   made again at each start
Copy it only while the service is stopped.
"""
# What each part is called when the person is asked whether it may go.
PARTS = {
    "postgres": "the database",
    "valkey": "the queue and the cache",
    "media": "photos and documents",
    "secrets": "keys and passwords",
    "keys": "what signs certificates and seals",
    "logs": "logs",
    "static": "collected static files",
    "beat": "the beat's schedule",
    "run": "notes on the running processes",
}


@dataclass(frozen=True)
class DataFolder:
    """Paths inside the folder. `open` makes what is missing."""

    path: Path

    @property
    def secrets(self) -> Path:
        return self.path / "secrets"

    @property
    def logs(self) -> Path:
        return self.path / "logs"

    @property
    def media(self) -> Path:
        return self.path / "media"

    @property
    def static(self) -> Path:
        return self.path / "static"

    @property
    def beat(self) -> Path:
        return self.path / "beat"

    @property
    def run(self) -> Path:
        return self.path / "run"

    @property
    def records(self) -> Path:
        return self.run / "processes.json"

    def open(self) -> None:
        """Make the folder and its parts, closed to others.

        Raises:
            StartUpError: it holds something that isn't ours, or can't be written to.
        """
        if self.is_foreign():
            raise StartUpError(
                f"{self.path} holds other things already. Give --data a new or an empty folder."
            )
        try:
            make_private_folder(self.path)
            (self.path / SIGN).write_text(SIGN_TEXT, encoding="utf-8")
            for part in PARTS:
                if part not in {"postgres", "valkey"}:
                    make_private_folder(self.path / part)
        except OSError as error:
            raise StartUpError(
                f"{self.path} can't be used for the data: {error.strerror}. "
                "Give --data a folder that you may write to."
            ) from error

    def is_foreign(self) -> bool:
        """Whether the folder holds something and isn't one of ours."""
        if not self.path.exists():
            return False
        if not self.path.is_dir():
            return True
        return not (self.path / SIGN).exists() and any(self.path.iterdir())

    def lock(self) -> IO[str] | None:
        """Take the folder for this process, until the stream closes; None if another has it.

        The kernel gives the lock back however the process ends.
        """
        stream = (self.run / LOCK).open("w")
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            stream.close()
            return None
        return stream

    def secret(self, name: str) -> str:
        """A secret of the service, made the first time."""
        return read_or_make_secret(self.secrets / name)

    def mark(self) -> str:
        """What the service's processes carry, so that a later start knows them."""
        return read_or_make_secret(self.run / "mark", 12)

    def note(self, name: str, value: object) -> None:
        """Keep a small note for the next start or another command."""
        write_private(self.run / f"{name}.json", json.dumps(value))

    def noted(self, name: str) -> dict[str, object]:
        """A note kept earlier; empty if there is none."""
        try:
            value = json.loads((self.run / f"{name}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return value if isinstance(value, dict) else {}

    def drop_note(self, name: str) -> None:
        (self.run / f"{name}.json").unlink(missing_ok=True)

    def contents(self) -> list[str]:
        """What emptying the folder would delete, a line each with its size."""
        lines = []
        for part, meaning in PARTS.items():
            files, size_bytes = measure(self.path / part)
            if files and part != "run":
                lines.append(f"{part:<9} {meaning}: {files} files, {in_words(size_bytes)}")
        return lines

    def empty(self) -> None:
        """Delete all parts. The lock, which the caller holds, stays.

        Raises:
            StartUpError: it isn't a folder of ours.
        """
        if self.is_foreign():
            raise StartUpError(f"{self.path} is no data folder of this service; it is left alone.")
        for part in PARTS:
            if part != "run" and (self.path / part).exists():
                shutil.rmtree(self.path / part)
        for note in self.run.iterdir():
            if note.name != LOCK:
                note.unlink()
        self.open()


def measure(folder: Path) -> tuple[int, int]:
    """Number of files below a folder, and their size in bytes."""
    files = [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
    return len(files), sum(path.stat().st_size for path in files)


def in_words(size_bytes: int) -> str:
    """A size for people, in decimal units (IEC 80000-13 keeps "MB" decimal)."""
    size = float(size_bytes)
    for unit in ("bytes", "kB", "MB"):
        if size < 1000:
            return f"{size:.0f} {unit}" if unit == "bytes" else f"{size:.1f} {unit}"
        size /= 1000
    return f"{size:.1f} GB"
