"""Reading a list (of homes, of roll types) from CSV or XLSX, one row at a time."""

from __future__ import annotations

import codecs
import csv
import difflib
import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from os import SEEK_END
from typing import IO, Any

from openpyxl import load_workbook

from jobs.errors import Refused
from jobs.intake.values import PROPERTY_FIELDS, REQUIRED_FIELDS

MOST_ROWS = 50_000
MOST_BYTES = 20 * 1024 * 1024
MOST_UNPACKED_BYTES = 300 * 1024 * 1024
MOST_COLUMNS = 200
MOST_SHEET_ROWS = 1_048_576
"""Of a worksheet [common practice, no published source]. A file can name any row; those before it
count as empty ones."""
PIECE_BYTES = 1 << 16
DELIMITERS = ",;\t"
# The columns we add to a file of rejected rows; they are passed over when it comes back.
REASON_COLUMNS = ("row_in_first_file", "what_is_wrong", "how_to_mend")
# A cell that a spreadsheet program would run as a formula is written with ' before it.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file whose headings were understood.

    `rows` yields (row number as a spreadsheet shows it, cells by our column names) and can be
    walked once. `row_count` is what the file says of itself, for progress only.
    `unread_columns` are headings that are none of ours.
    """

    rows: Iterator[tuple[int, dict[str, str]]]
    row_count: int
    unread_columns: tuple[str, ...]


def _plain(heading: str) -> str:
    return re.sub(r"[^a-z0-9]", "", heading.lower())


@dataclass(frozen=True, slots=True)
class Columns:
    """What a list has. names: of every column; needed: of those it cannot do without.

    also: further headings that mean a column, written without capitals, spaces and marks.
    things: what its rows are; most: how many there may be.
    most_unpacked_bytes: of an XLSX, less for a list that a page waits for.
    """

    names: tuple[str, ...]
    needed: tuple[str, ...]
    also: Mapping[str, str]
    things: str
    most: int
    most_unpacked_bytes: int = MOST_UNPACKED_BYTES

    def by_heading(self) -> dict[str, str]:
        return {_plain(name): name for name in (*self.names, *REASON_COLUMNS)} | dict(self.also)


# Headings without their unit are ours too: “Latitude” is latitude_deg.
HOMES = Columns(
    names=PROPERTY_FIELDS,
    needed=REQUIRED_FIELDS,
    also={"latitude": "latitude_deg", "longitude": "longitude_deg"},
    things="homes",
    most=MOST_ROWS,
)


def match_headings(
    headings: Sequence[str], columns: Columns = HOMES
) -> tuple[list[str | None], tuple[str, ...]]:
    """Our column name for each heading (None: not read), and the headings not read.

    Capitals, spaces and underscores make no difference.

    Raises:
        Refused: a column we need is missing, or one is there twice; says which, and where a
            heading looks like a misspelling of it.
    """
    ours = columns.by_heading()
    names = [ours.get(_plain(heading)) for heading in headings]
    unread = tuple(h for h, name in zip(headings, names, strict=True) if name is None and h)
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise Refused(
            f"The column {twice[0]} is there more than once.",
            field=twice[0],
            remedy="Keep one of them and send the file again.",
        )
    missing = [name for name in columns.needed if name not in names]
    if missing:
        raise Refused(
            f"The first row has no column {', '.join(missing)}.",
            field=missing[0],
            remedy=_remedy_for(missing, unread, columns.things),
        )
    return names, unread


def _remedy_for(missing: Sequence[str], unread: Sequence[str], things: str) -> str:
    by_plain = {_plain(heading): heading for heading in unread}
    for name in missing:
        close = difflib.get_close_matches(_plain(name), by_plain, n=1, cutoff=0.6)
        if close:
            return f"Is “{by_plain[close[0]]}” meant to be {name}? Rename it and send it again."
    return f"The template has every column with an example; copy your {things} into it."


def read_sheet(file: IO[bytes], name: str, columns: Columns = HOMES) -> Sheet:
    """Open a CSV or XLSX file by its name's ending and its first bytes.

    Raises:
        Refused: field `file`, or the column that is missing. Rows are read only as `rows` is
            walked, so a file damaged further down raises `Refused` then.
    """
    if file.seek(0, SEEK_END) > MOST_BYTES:
        raise Refused(
            f"This file has more than {MOST_BYTES / 1e6:.0f} MB.",
            field="file",
            remedy="Send it in parts.",
        )
    file.seek(0)
    start = file.read(4)
    file.seek(0)
    if start == b"PK\x03\x04":
        return _read_xlsx(file, columns)
    if start[:4] == b"\xd0\xcf\x11\xe0" or name.lower().endswith((".xls", ".ods", ".numbers")):
        raise Refused(
            "This kind of spreadsheet is not read.",
            field="file",
            remedy="Save it as XLSX or CSV and send it again.",
        )
    return _read_csv(file, columns)


# --- CSV


def _encoding_of(file: IO[bytes]) -> str:
    """UTF-8 where every byte is (with or without a mark), else Windows-1252."""
    for encoding in ("utf-8-sig", "cp1252"):
        decoder = codecs.getincrementaldecoder(encoding)()
        file.seek(0)
        try:
            while piece := file.read(PIECE_BYTES):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            continue
        return encoding
    raise Refused(
        "The letters of this file are neither UTF-8 nor Windows-1252.",
        field="file",
        remedy="Save it as “CSV UTF-8” and send it again.",
    )


def _read_csv(file: IO[bytes], columns: Columns) -> Sheet:
    encoding = _encoding_of(file)
    file.seek(0)
    row_count = sum(piece.count(b"\n") for piece in iter(lambda: file.read(PIECE_BYTES), b""))
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, newline="")
    first = text.readline()
    if "\x00" in first or not first.strip():
        raise Refused(
            "This file has no first row of headings.",
            field="file",
            remedy="Start from the template, and save as CSV or XLSX.",
        )
    delimiter = max(DELIMITERS, key=lambda sign: _outside_quotes(first, sign))
    text.seek(0)
    reader = csv.reader(text, delimiter=delimiter)
    return _sheet(_csv_rows(reader), row_count, columns)


def _csv_rows(reader: Iterator[list[str]]) -> Iterator[list[str]]:
    try:
        yield from reader
    except csv.Error as error:
        line = getattr(reader, "line_num", 0)
        raise Refused(
            f"Line {line} cannot be read as CSV ({error}).",
            field="file",
            remedy="Look for a quotation mark that is never closed there.",
        ) from error


def _outside_quotes(line: str, sign: str) -> int:
    return re.sub(r'"[^"]*"', "", line).count(sign)


# --- XLSX


def _read_xlsx(file: IO[bytes], columns: Columns) -> Sheet:
    with _damage_explained():
        with zipfile.ZipFile(file) as archive:
            unpacked_bytes = sum(part.file_size for part in archive.infolist())
        if unpacked_bytes > columns.most_unpacked_bytes:
            raise Refused(
                "Unpacked, this file is too large to read.",
                field="file",
                remedy="Send it in parts, without pictures.",
            )
        file.seek(0)
        sheet = load_workbook(file, read_only=True, data_only=True).worksheets[0]
        row_count = max((sheet.max_row or 1) - 1, 0)
    return _sheet(_xlsx_rows(sheet), min(row_count, MOST_SHEET_ROWS), columns)


def _xlsx_rows(sheet: Any) -> Iterator[list[str]]:
    """Its rows up to their last cell, no wider and no further down than is read."""
    with _damage_explained():
        for row in sheet.iter_rows(
            max_row=MOST_SHEET_ROWS, max_col=MOST_COLUMNS + 1, values_only=True
        ):
            width = 0 if row.count(None) == len(row) else len(row)
            while width and row[width - 1] is None:
                width -= 1
            yield [_cell_text(cell) for cell in row[:width]]


@contextmanager
def _damage_explained() -> Iterator[None]:
    """Whatever the reader raises over a broken part of a file is the file's doing."""
    try:
        yield
    except Refused:
        raise
    except Exception as error:
        raise Refused(
            "This XLSX file cannot be opened.",
            field="file",
            remedy="Open it in your spreadsheet program, save it anew as XLSX, and send that.",
        ) from error


def _cell_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


# --- Both


def _sheet(rows: Iterator[list[str]], row_count: int, columns: Columns) -> Sheet:
    headings = [heading.strip() for heading in next(rows, [])]
    while headings and not headings[-1]:
        headings.pop()
    if len(headings) > MOST_COLUMNS:
        raise Refused(
            f"The first row has more than {MOST_COLUMNS} columns.",
            field="file",
            remedy="Take out those that the template does not have.",
        )
    names, unread = match_headings(headings, columns)
    return Sheet(_named_rows(rows, names, columns), row_count, unread)


def _named_rows(
    rows: Iterator[list[str]], names: Sequence[str | None], columns: Columns
) -> Iterator[tuple[int, dict[str, str]]]:
    taken = 0
    for number, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        taken += 1
        if taken > columns.most:
            raise Refused(
                f"This file has more than {columns.most:,} {columns.things}.",
                field="file",
                remedy="Send it in parts.",
            )
        yield (
            number,
            {
                name: _without_guard(cell.strip())
                for name, cell in zip(names, cells, strict=False)
                if name is not None and name not in REASON_COLUMNS
            },
        )


def _without_guard(cell: str) -> str:
    guarded = cell.startswith("'") and cell[1:].startswith(FORMULA_SIGNS)
    return cell[1:] if guarded else cell
