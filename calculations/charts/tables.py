"""The figures behind a picture, for whoever does not see it and for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

Cell = str | int | float | None
Row = tuple[Cell, ...]
PIECE = 1 << 16

# A spreadsheet takes a cell that begins with one of these for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Table:
    """Named columns, with units in their names, and rows of as many cells each."""

    columns: tuple[str, ...]
    rows: Collection[Row]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"rows: {row!r} has not {len(self.columns)} cells.")

    def to_csv(self) -> str:
        """As RFC 4180 says, with a header line; words that a spreadsheet would run are quoted."""
        return "".join(self.csv_pieces())

    def csv_pieces(self) -> Iterator[str]:
        """The same, PIECE characters or a little more at a time."""
        return csv_pieces(self.columns, ([plain_cell(c) for c in row] for row in self.rows))


@dataclass(frozen=True, slots=True)
class RowsAgain(Collection[Row]):
    """Rows made anew each time they are gone through, where so many need not all be held."""

    make: Callable[[], Iterator[Row]]

    def __iter__(self) -> Iterator[Row]:
        return self.make()

    def __len__(self) -> int:
        return sum(1 for _ in self.make())

    def __contains__(self, row: object) -> bool:
        return any(row == one for one in self.make())


def csv_pieces(
    columns: Sequence[str], rows: Iterable[Sequence[str | int | float]]
) -> Iterator[str]:
    """Lines as RFC 4180 writes them, some at a time."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow(row)
        if out.tell() >= PIECE:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


def plain_cell(cell: Cell) -> str | int | float:
    """A cell as a spreadsheet may have it: nothing for None, no words taken for a formula."""
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return f"'{cell}"
    return "" if cell is None else cell
