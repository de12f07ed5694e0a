"""The figures behind a picture, for whoever does not see it and for a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

Cell = str | int | float | None

# A spreadsheet takes a cell that begins with one of these for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Table:
    """Named columns, with units in their names, and rows of as many cells each."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"rows: {row!r} has not {len(self.columns)} cells.")

    def to_csv(self) -> str:
        """As RFC 4180 says, with a header line; words that a spreadsheet would run are quoted."""
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(self.columns)
        writer.writerows([plain_cell(cell) for cell in row] for row in self.rows)
        return out.getvalue()


def plain_cell(cell: Cell) -> str | int | float:
    """A cell as a spreadsheet may have it: nothing for None, no words taken for a formula."""
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return f"'{cell}"
    return "" if cell is None else cell
