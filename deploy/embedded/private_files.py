"""Files that only their owner may read."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

PRIVATE_FILE = 0o600
PRIVATE_FOLDER = 0o700


def make_private_folder(folder: Path) -> Path:
    """Make a folder (and its parents) that only its owner may enter; an existing one is closed."""
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(PRIVATE_FOLDER)
    return folder


def write_private(file: Path, text: str) -> None:
    """Replace a file's content at one stroke; nobody else can read it at any moment."""
    scratch = file.with_name(f".{file.name}.{os.getpid()}")
    descriptor = os.open(scratch, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, PRIVATE_FILE)
    with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(scratch, file)


def read_or_make_secret(file: Path, bytes_of_chance: int = 48) -> str:
    """A secret kept in a file, made at random the first time it is asked for."""
    try:
        secret = file.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        secret = ""
    if not secret:
        secret = secrets.token_urlsafe(bytes_of_chance)
        write_private(file, secret)
    return secret
