"""What is held on one household as a ZIP: to read, to use in other programs, and its files.

Sent while it is made: photos go through in pieces, so the largest needs no more memory.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone

from compliance.models import AnswerEvidence, Certificate
from compliance.packs.sinks import Outgoing
from compliance.packs.zip_stream import ZipStream
from compliance.personal.held import Table, photos_of, tables_of
from jobs.evidence.content_store import CHUNK_BYTES, open_kept
from jobs.evidence.erased_photos import still_kept
from jobs.evidence.media_types import ENDINGS
from jobs.models import Photo, Property

FORMULA = ("=", "+", "-", "@", "\t", "\r")


def export_name(home: Property, at: datetime) -> str:
    return f"household-{home.pk}-{timezone.localtime(at):%Y%m%d}.zip"


def household_zip(home: Property) -> Iterator[bytes]:
    """The bytes of the ZIP, made while they are taken; no piece is empty."""
    return (piece for piece in _pieces(home) if piece)


def _pieces(home: Property) -> Iterator[bytes]:
    at = timezone.now()
    tables = tables_of(home)
    outgoing = Outgoing()
    zipped = ZipStream(outgoing)
    for name, content in _documents(home, tables, at):
        with zipped.open(name, packed=True) as file:
            file.write(content)
        yield outgoing.take()
    for photo in still_kept(photos_of(home)):
        yield from _photo(zipped, outgoing, photo)
    for certificate in Certificate.objects.filter(job__property=home).order_by("pk"):
        name = f"certificates/{certificate.code}.pdf"
        yield from _file(zipped, outgoing, name, certificate.pdf_name)
    shown = AnswerEvidence.objects.filter(finding__drawn_job__job__property=home)
    for one in shown.exclude(stored_name="").order_by("pk"):
        name = f"answers/{one.pk}.{ENDINGS.get(one.media_type, 'bin')}"
        yield from _file(zipped, outgoing, name, one.stored_name)
    zipped.close()
    yield outgoing.take()


def _documents(home: Property, tables: list[Table], at: datetime) -> Iterator[tuple[str, bytes]]:
    context = {"home": home, "tables": tables, "at": at}
    readable = render_to_string("compliance/personal/household.html", context)
    yield "household.html", readable.encode()
    said: dict[str, Any] = {
        "household": home.reference,
        "made_at": timezone.localtime(at).isoformat(timespec="seconds"),
        **{table.name: table.records() for table in tables},
    }
    yield "household.json", json.dumps(said, ensure_ascii=False, indent=1).encode()
    for table in tables:
        yield f"tables/{table.name}.csv", _csv(table)


def _csv(table: Table) -> bytes:
    """UTF-8 with a mark at its beginning, as spreadsheet programs expect it."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(table.columns)
    for row in table.rows:
        writer.writerow([_cell(value) for value in row])
    return text.getvalue().encode("utf-8-sig")


def _cell(value: Any) -> Any:
    """Text as a cell that no spreadsheet program takes for a formula."""
    if isinstance(value, list | dict):
        value = json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and value.startswith(FORMULA):
        return f"'{value}"
    return value


def _photo(zipped: ZipStream, outgoing: Outgoing, photo: Photo) -> Iterator[bytes]:
    name = f"photos/{photo.pk}-{photo.moment}.{ENDINGS.get(photo.media_type, 'bin')}"
    yield from _file(zipped, outgoing, name, photo.original_name)


def _file(zipped: ZipStream, outgoing: Outgoing, name: str, stored: str) -> Iterator[bytes]:
    """A stored file in pieces; one that storage lost is left out."""
    try:
        source = open_kept(stored)
    except FileNotFoundError:
        return
    with source, zipped.open(name, packed=False) as file:
        while chunk := source.read(CHUNK_BYTES):
            file.write(chunk)
            yield outgoing.take()
    yield outgoing.take()
