"""Spreadsheets of invented homes for intake tests."""

from __future__ import annotations

import io

from jobs.intake.batches import begin_import, import_batch, preview, receive_file
from jobs.models import IntakeBatch
from tests.jobs.planner_scene import Office

HEAD = "reference,address_line_1,town,postcode,nation"


def line(number: int, *, postcode: str = "LE1 1AA", nation: str = "England") -> str:
    return f"H-{number},{number} Example Row,Sampleton,{postcode},{nation}"


def csv_file(*lines: str) -> io.BytesIO:
    return io.BytesIO("\n".join([HEAD, *lines, ""]).encode())


def received(office: Office, file: io.BytesIO, name: str = "homes.csv") -> IntakeBatch:
    return receive_file(office.company, office.scheme, file, name, office.planner)


def looked_through(office: Office, *lines: str) -> IntakeBatch:
    return preview(received(office, csv_file(*lines)))


def taken_in(office: Office, *lines: str) -> IntakeBatch:
    batch = looked_through(office, *lines)
    begin_import(batch)
    return import_batch(batch)
