"""PDF documents that come with answers to findings: whole, plain, and with pages to read.

Whoever reads an answer opens what another party sent. So a document with a password, a script,
files inside, or anything that starts or sends something is refused when it is sent, with the way
to make a plain one of it. It is read in a process of its own, which may take so much and no more.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import IO, Any

from jobs.errors import Refused
from jobs.evidence.decoding.client import PROJECT_FOLDER, bare_environment

MEDIA_TYPE = "application/pdf"
BEGINS, ENDS = b"%PDF-", b"%%EOF"
TAIL_BYTES = 2048
MOST_PAGES = 300
WALL_SECONDS = 30.0
PRINT_IT = "Print it to a new PDF, and send that."
WHY_REFUSED = {
    "encrypted": "This document is locked with a password, so nobody here can read it.",
    "script": "This document carries a script.",
    "files": "This document carries other files inside.",
    "launch": "This document starts something, or sends something, when it is opened.",
    "media": "This document carries films, sound or models.",
    "too_much": "This document is made of more pieces than can be looked through.",
}


def require_plain(file: IO[bytes], size_bytes: int) -> int:
    """The number of pages of a PDF that is whole and carries nothing but pages.

    Raises:
        Refused: it broke off, cannot be read, has no page or too many, is locked, or carries a
            script, files, media, or an action that starts or sends something.
    """
    file.seek(max(0, size_bytes - TAIL_BYTES))
    if ENDS not in file.read():
        raise Refused(
            "This document broke off on the way: its end is missing.", remedy="Send it again."
        )
    file.seek(0)
    told = _look(file)
    for kind in told["found"]:
        raise Refused(WHY_REFUSED[kind], remedy=PRINT_IT)
    pages: int = told["pages"]
    if not 1 <= pages <= MOST_PAGES:
        said = "no page" if not pages else f"{pages} pages, and {MOST_PAGES} are taken at most"
        raise Refused(f"This document has {said}.", remedy="Send the pages that prove the answer.")
    return pages


def _look(file: IO[bytes]) -> dict[str, Any]:
    command = [sys.executable, "-m", "compliance.audits.pdf_child"]
    try:
        done = subprocess.run(
            command,
            input=file.read(),
            capture_output=True,
            timeout=WALL_SECONDS,
            cwd=PROJECT_FOLDER,
            env=bare_environment(),
            check=True,
        )
        told: dict[str, Any] = json.loads(done.stdout)
    except (subprocess.SubprocessError, ValueError) as error:
        raise Refused("This document can't be read as a PDF.", remedy=PRINT_IT) from error
    return told
