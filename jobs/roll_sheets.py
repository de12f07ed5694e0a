"""A supplier's list as a spreadsheet: the roll types of a company, all rows or none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import IO, Any

from jobs.errors import Refused, refusals_explained
from jobs.intake.files import as_file
from jobs.intake.spreadsheet import Columns, read_sheet
from jobs.models import Company, CompanyRollType, User
from jobs.roll_types import MOST_IN_USE, keep_roll_type, splits_from

NUMBERS = (
    "thickness_mm",
    "width_mm",
    "length_mm",
    "conductivity_w_mk",
    "cost",
    "packed_volume_m3",
)
NEEDED = ("code", "name", *NUMBERS)
ROLLS = Columns(
    names=("code", "name", *NUMBERS[:4], "splits", *NUMBERS[4:], "declared_in"),
    needed=NEEDED,
    also={
        "thickness": "thickness_mm",
        "width": "width_mm",
        "length": "length_mm",
        "conductivity": "conductivity_w_mk",
        "lambda": "conductivity_w_mk",
        "packedvolume": "packed_volume_m3",
        "price": "cost",
    },
    things="roll types",
    most=MOST_IN_USE,
    most_unpacked_bytes=16 * 1024 * 1024,
)
EXAMPLE = {
    "code": "W170",
    "name": "Wool 170",
    "thickness_mm": "170",
    "width_mm": "1140",
    "length_mm": "5000",
    "conductivity_w_mk": "0.044",
    "splits": "2, 3",
    "cost": "27.00",
    "packed_volume_m3": "0.19",
    "declared_in": "the label, March 2027",
}
MOST_TOLD = 20


class RowsRefused(Refused):
    """Rows that cannot be taken in. problems: row number of the file -> what is wrong there."""

    status = 422

    def __init__(self, problems: Mapping[int, str]) -> None:
        told = [f"Row {row}: {problem}" for row, problem in list(problems.items())[:MOST_TOLD]]
        if len(problems) > MOST_TOLD:
            told.append(f"And {len(problems) - MOST_TOLD} more rows.")
        super().__init__(
            " ".join(told),
            field="file",
            remedy="Nothing was taken in; mend them and send it again.",
        )
        self.problems = dict(problems)


def template_file(kind: str) -> bytes:
    """Every column that is read, with one roll to show how each is written."""
    return as_file(ROLLS.names, [[EXAMPLE[name] for name in ROLLS.names]], kind)


def take_in_roll_types(company: Company, file: IO[bytes], name: str, *, by: User) -> list[str]:
    """Enter the roll types of a list; one whose code the company has is changed by its row.

    Returns the codes, in the file's order. All rows are kept, or none.

    Raises:
        RowsRefused: which rows, and why. Refused: the file cannot be read (field "file"), or a
            column is missing.
    """
    rows = list(read_sheet(file, name, ROLLS).rows)
    if not rows:
        raise Refused(
            "There is no roll type below the headings.",
            field="file",
            remedy="Fill in a row for each and send it again.",
        )
    with refusals_explained():
        known = {roll.code: roll for roll in CompanyRollType.objects.filter(company=company)}
        problems: dict[int, str] = {}
        codes: list[str] = []
        for number, cells in rows:
            code = cells.get("code", "").upper()
            try:
                if code in codes:
                    raise Refused(f"{code} stands in this file twice.", remedy="Take one out.")
                roll = known.get(code) or CompanyRollType(company=company)
                keep_roll_type(_filled(roll, cells), by=by)
                codes.append(code)
            except Refused as refusal:
                field = f"{refusal.field}: " if refusal.field else ""
                problems[number] = f"{field}{refusal}"
        if problems:
            raise RowsRefused(problems)
    return codes


def _filled(roll: CompanyRollType, cells: Mapping[str, str]) -> CompanyRollType:
    """A roll type with a row's values; a column that the file lacks stays as it is."""
    values: dict[str, Any] = {name: _number(name, cells.get(name, "")) for name in NUMBERS}
    values |= {"code": cells.get("code", ""), "name": cells.get("name", "")}
    if "splits" in cells:
        values["splits"] = splits_from(cells["splits"])
    if "declared_in" in cells:
        values["declared_in"] = cells["declared_in"]
    for name, value in values.items():
        setattr(roll, name, value)
    roll.is_active = True
    return roll


def _number(name: str, cell: str) -> float:
    """The number in a cell. Raises Refused naming the column."""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        said = f"“{cell[:40]}” is no number." if cell else "The cell is empty."
        raise Refused(said, field=name, remedy="Give figures alone, with a point: 0.044.")
    return value
