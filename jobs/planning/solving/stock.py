"""What a draft takes from each depot by each day, and whether more can be loaded."""

from __future__ import annotations

from jobs.planning.solving.tables import Tables

Use = dict[tuple[int, str], list[int]]


class StockUse:
    """Pieces loaded by depot, item and day, against what can lie there until then."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        problem = tables.problem
        self.used: Use = {}
        self.allowed: dict[tuple[int, str], list[int | None]] = {}
        for number, depot in enumerate(problem.depots):
            for item in {item for by_day in depot.stock_by_day for item in by_day}:
                self.used[number, item] = [0] * len(problem.days)
                self.allowed[number, item] = [by_day.get(item) for by_day in depot.stock_by_day]

    def copy(self) -> StockUse:
        """A count that can be changed apart from this one."""
        twin = StockUse.__new__(StockUse)
        twin.tables, twin.allowed = self.tables, self.allowed
        twin.used = {key: days.copy() for key, days in self.used.items()}
        return twin

    @classmethod
    def counted(cls, tables: Tables, used: Use) -> StockUse:
        """A count that stands at that already."""
        made = cls(tables)
        made.used = used
        return made

    def add(self, task: int, shift: int, sign: int) -> None:
        """Count (1) or take back (-1) what a task in that shift loads."""
        row = self.tables.shifts[shift]
        if row.depot is None:
            return
        for item, pieces in self._needs(task).items():
            days = self.used.get((row.depot, item))
            if days is not None:
                for day in range(row.day, len(days)):
                    days[day] += sign * pieces

    def lacking(self, task: int, shift: int) -> str | None:
        """The first item that would run out if the task were loaded in that shift, if any."""
        row = self.tables.shifts[shift]
        if row.depot is None:
            return None
        for item, pieces in self._needs(task).items():
            used = self.used.get((row.depot, item))
            if used is None or not pieces:
                continue
            allowed = self.allowed[row.depot, item]
            for day in range(row.day, len(used)):
                most = allowed[day]
                if most is not None and used[day] + pieces > most:
                    return item
        return None

    def shortfall(self, task: int, shift: int) -> dict[str, int]:
        """Pieces of each item that lack, from that shift's day on, to load the task there."""
        row = self.tables.shifts[shift]
        short: dict[str, int] = {}
        for item, pieces in self._needs(task).items():
            used = self.used.get((row.depot, item)) if row.depot is not None else None
            if used is None or row.depot is None:
                continue
            allowed = self.allowed[row.depot, item]
            lacks = [
                used[day] + pieces - most
                for day in range(row.day, len(used))
                if (most := allowed[day]) is not None
            ]
            if lacks and max(lacks) > 0:
                short[item] = max(lacks)
        return short

    def without_limits(self) -> StockUse:
        """A count that lets everything be loaded."""
        twin = self.copy()
        twin.allowed = {key: [None] * len(days) for key, days in self.allowed.items()}
        return twin

    def _needs(self, task: int) -> dict[str, int]:
        return self.tables.needs[task]
