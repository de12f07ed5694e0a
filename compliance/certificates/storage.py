"""Where signed certificates lie: in the media storage, under the name of their own SHA-256."""

from __future__ import annotations

from io import BytesIO

from jobs.evidence.content_store import Kept, keep, open_kept

FOLDER = "certificates"
LIMIT_BYTES = 20_000_000


def store_pdf(pdf: bytes) -> Kept:
    """Store a PDF for good; storing it twice keeps it once."""
    return keep(BytesIO(pdf), FOLDER, limit_bytes=LIMIT_BYTES)


def read_pdf(name: str) -> bytes:
    with open_kept(name) as file:
        return file.read()
