"""Keys that are made once, at the first start, and may be replaced by files of one's own.

Both lie in `settings.CERTIFICATE_KEY_FOLDER`. In place of `seal-signing.pem` you may put an Ed25519
private key of your own; for certificates name your own by `CERTIFICATE_KEY_STORE` or on a device
(see `key_sources`). On several machines the folder is one that all share.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from django.conf import settings

PRIVATE_FILE = 0o600
PRIVATE_FOLDER = 0o700


def read_or_make(name: str, make: Callable[[], bytes]) -> bytes:
    """The bytes of a private file, made by `make` when it is not there yet.

    Whoever comes first wins: the file is written aside and then linked into place, which
    fails when another process was faster; that one's file is read instead.
    """
    folder = Path(settings.CERTIFICATE_KEY_FOLDER)
    file = folder / name
    try:
        return file.read_bytes()
    except FileNotFoundError:
        folder.mkdir(parents=True, exist_ok=True, mode=PRIVATE_FOLDER)
    _link_into_place(file, make())
    return file.read_bytes()


def _link_into_place(file: Path, content: bytes) -> None:
    scratch = file.with_name(f".{file.name}.{os.getpid()}.{os.urandom(4).hex()}")
    descriptor = os.open(scratch, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_FILE)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        try:
            os.link(scratch, file)
        except FileExistsError:
            return
        _sync_folder(file.parent)
    finally:
        scratch.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
