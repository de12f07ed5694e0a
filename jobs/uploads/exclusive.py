"""One request at a time to an upload. A lock that the kernel drops when its holder is killed.

It is a courtesy that keeps two requests from sending the same bytes side by side on one machine.
That nothing is stored twice, also across machines, is held by the database: bytes count only by
a conditional update of the offset (`receiving`).
"""

from __future__ import annotations

import fcntl
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import UUID

from django.core.files.storage import default_storage

from jobs.evidence.content_store import is_local
from jobs.uploads.protocol import Busy

LOCKS = "partial-locks"


@contextmanager
def alone_with(upload_id: UUID) -> Iterator[None]:
    """Hold the upload. Raises Busy if another request has it."""
    path = _folder() / f"{upload_id}.lock"
    handle = _locked(path)
    try:
        yield
    finally:
        # Removed while still locked; whoever waits notices that the name is another file's now.
        path.unlink(missing_ok=True)
        os.close(handle)


def _folder() -> Path:
    """Beside the pieces, or with object storage in this machine's temporary folder."""
    if is_local():
        folder = Path(default_storage.path(LOCKS))
    else:
        folder = Path(tempfile.gettempdir()) / f"eavesbook-uploads-{os.getuid()}"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def _locked(path: Path) -> int:
    while True:
        handle = os.open(path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC | os.O_NOFOLLOW, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if _is_at(handle, path):
                return handle
        except BlockingIOError:
            os.close(handle)
            raise Busy(
                "This upload is being sent already.",
                field="Upload-Offset",
                remedy="Wait a moment and ask for its offset again.",
            ) from None
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _is_at(handle: int, path: Path) -> bool:
    """Whether the locked file still has its name, and was not removed by the holder before."""
    try:
        there = os.stat(path)
    except FileNotFoundError:
        return False
    return os.path.samestat(os.fstat(handle), there)
