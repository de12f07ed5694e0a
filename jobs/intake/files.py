"""Files we hand out: the template to fill in, and the rows that wait to be mended."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from jobs.errors import Refused
from jobs.intake.spreadsheet import FORMULA_SIGNS, REASON_COLUMNS
from jobs.intake.values import PROPERTY_FIELDS
from jobs.models import IntakeBatch, IntakeRow

MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?")
EXAMPLE = {
    "reference": "EXAMPLE-1",
    "address_line_1": "1 Example Row",
    "town": "Sampleton",
    "postcode": "LE1 1AA",
    "nation": "England",
    "nation_confirmed": "no",
    "latitude_deg": "52.6345",
    "longitude_deg": "-1.1297",
    "due_on": "2027-03-31",
}


def _check_kind(kind: str) -> None:
    if kind not in MEDIA_TYPES:
        raise Refused(
            f"Files of kind “{kind}” are not made.", field="kind", remedy="Ask for csv or xlsx."
        )


def as_file(headings: Sequence[str], rows: Iterable[Sequence[str]], kind: str) -> bytes:
    """Rows as CSV (UTF-8 with its mark, so that Excel reads it right) or XLSX."""
    _check_kind(kind)
    return _as_csv(headings, rows) if kind == "csv" else _as_xlsx(headings, rows)


def _as_csv(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(headings)
    for row in rows:
        writer.writerow([_guarded(cell) for cell in row])
    return text.getvalue().encode("utf-8-sig")


def _guarded(cell: str) -> str:
    """The cell with ' before it where a spreadsheet program would run it as a formula."""
    return f"'{cell}" if cell.startswith(FORMULA_SIGNS) and not NUMBER.fullmatch(cell) else cell


def _as_xlsx(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("homes")
    sheet.freeze_panes = "A2"
    for row in (headings, *rows):
        cells = []
        for text in row:
            cell = WriteOnlyCell(sheet, value=text)
            cell.data_type = "s"  # text, never a formula
            cells.append(cell)
        sheet.append(cells)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def template_file(kind: str) -> bytes:
    """Every column we read, with one invented home to show how each is written."""
    return as_file(PROPERTY_FIELDS, [[EXAMPLE.get(name, "") for name in PROPERTY_FIELDS]], kind)


def rejected_rows_file(batch: IntakeBatch, kind: str) -> bytes:
    """The rows to mend, with what is wrong and how to mend it, ready to be sent again.

    The reasons stand in columns of their own, which are passed over when the file comes back.
    """
    return as_file((*PROPERTY_FIELDS, *REASON_COLUMNS), _rejected_rows(batch), kind)


def rejected_file_name(batch: IntakeBatch, kind: str) -> str:
    stem = batch.file_name.rsplit(".", 1)[0]
    return f"to mend, {stem}.{kind}"


def _rejected_rows(batch: IntakeBatch) -> Iterator[list[str]]:
    bad = batch.rows.filter(outcome=IntakeRow.Outcome.BAD)
    for row in bad.iterator(chunk_size=1000):
        yield [
            *(row.values.get(name, "") for name in PROPERTY_FIELDS),
            str(row.number),
            "; ".join(f"{p['field']}: {p['message']}" for p in row.problems),
            "; ".join(dict.fromkeys(p["remedy"] for p in row.problems if p["remedy"])),
        ]
