"""The files that facts name: originals of photos, certificates as issued, answers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from django.core.exceptions import SuspiciousOperation

from compliance.packs.erased import Erased
from compliance.packs.lines import EntryRow
from compliance.verify.layout import (
    ANSWER_EVIDENCE,
    ANSWER_FILES,
    CERTIFICATE,
    CERTIFICATES,
    PHOTO,
    PHOTOS,
)
from jobs.evidence.content_store import open_kept

CHUNK_BYTES = 1 << 18
PLAIN_NAME = re.compile(r"[0-9A-Za-z-]{1,80}")


def kept_files(
    rows: Sequence[EntryRow], left_out: frozenset[str], erased: Erased
) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Name in the pack and bytes of each file. One that storage lost is left for the verifier
    to name; one that was erased is not in the pack.
    """
    for row in rows:
        if row.kind == PHOTO and "bytes" in erased.of(PHOTO, row.fact):
            continue
        if row.kind == PHOTO and "photos" not in left_out:
            yield from _file(row, "sha256", "original_name", PHOTOS, "")
        elif row.kind == CERTIFICATE and "certificates" not in left_out:
            yield from _file(row, "code", "pdf_name", CERTIFICATES, ".pdf")
        elif row.kind == ANSWER_EVIDENCE:
            yield from _file(row, "sha256", "stored_name", ANSWER_FILES, "")


def _file(
    row: EntryRow, named_by: str, kept_as: str, folder: str, ending: str
) -> Iterator[tuple[str, Iterator[bytes]]]:
    values = row.values()
    name, stored = values.get(named_by), values.get(kept_as)
    if not isinstance(name, str) or not isinstance(stored, str) or not PLAIN_NAME.fullmatch(name):
        return
    chunks = _chunks(stored)
    try:
        first = next(chunks, b"")
    except (OSError, SuspiciousOperation, ValueError):
        return
    yield f"{folder}{name}{ending}", _with_first(first, chunks)


def _chunks(stored: str) -> Iterator[bytes]:
    with open_kept(stored) as file:
        while chunk := file.read(CHUNK_BYTES):
            yield chunk


def _with_first(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest
