"""Where signed certificates lie: in the media storage, named after their own SHA-256."""

from __future__ import annotations

import hashlib

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage


def store_pdf(pdf: bytes) -> tuple[str, str]:
    """Store a PDF for good; returns its name and SHA-256. Storing it twice does nothing."""
    sha256 = hashlib.sha256(pdf).hexdigest()
    name = f"certificates/{sha256[:2]}/{sha256}.pdf"
    if not default_storage.exists(name):
        stored = default_storage.save(name, ContentFile(pdf))
        if stored != name:  # another process stored the very same bytes in between
            default_storage.delete(stored)
    return name, sha256


def read_pdf(name: str) -> bytes:
    with default_storage.open(name, "rb") as file:
        return bytes(file.read())
