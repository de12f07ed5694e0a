"""What a cut of the power takes that SIGKILL leaves: everything that was not fsynced.

A killed process leaves its writes with the kernel. So each process of the service notes what it
fsyncs, and a cut of the power kills all of them and then takes away, from the folder of photos
and certificates, every file and every name that nobody had fsynced. The worst case: a real disk
keeps more. The files of PostgreSQL are not treated so; its own care is not what is tested here.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Names = dict[str, int]


@dataclass(frozen=True)
class Journal:
    """path: the file that all processes append to, a line an fsync."""

    path: Path

    def keep(self) -> None:
        """From now on note what this process fsyncs."""
        file = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT)

        def fsync(at: Any) -> None:
            number = at if isinstance(at, int) else at.fileno()
            was = os.fstat(number)
            if stat.S_ISDIR(was.st_mode):
                with os.scandir(number) as entries:
                    said: object = {entry.name: entry.inode() for entry in entries}
            else:
                said = [was.st_size, was.st_mtime_ns]
            os.write(file, f"{json.dumps([was.st_ino, said])}\n".encode())

        os.fsync = fsync

    def read(self) -> tuple[set[tuple[int, int, int]], dict[int, Names]]:
        """Files as they were fsynced (inode, size, time of change); names in folders."""
        files: set[tuple[int, int, int]] = set()
        folders: dict[int, Names] = {}
        for line in self._lines():
            inode, said = json.loads(line)
            if isinstance(said, dict):
                folders[inode] = said
            else:
                files.add((inode, *said))
        return files, folders

    def _lines(self) -> Iterator[str]:
        if self.path.exists():
            yield from self.path.read_text(encoding="utf-8").splitlines()


def lose_unsynced(folder: Path, journal: Journal) -> int:
    """Take away what below `folder` was not fsynced, while nobody writes; how much it was."""
    files, folders = journal.read()
    lost = 0
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        names = folders.get(here.stat().st_ino, {})
        for entry in list(os.scandir(here)):
            was = entry.stat(follow_symlinks=False)
            if names.get(entry.name) != was.st_ino:
                shutil.rmtree(entry.path) if entry.is_dir() else os.unlink(entry.path)
                lost += 1
            elif entry.is_dir():
                waiting.append(Path(entry.path))
            elif (was.st_ino, was.st_size, was.st_mtime_ns) not in files:
                os.truncate(entry.path, 0)
                lost += 1
    return lost
