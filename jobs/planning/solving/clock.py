"""A clock without breaks: times with each day's breaks cut out, for a solver that knows none.

A break of half an hour that starts between 11:30 and 13:00 mostly just takes half an hour out of
the day. Times before its middle stay, later ones move up by its length. What comes back is timed
again with the real breaks, so this need only be near the truth.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from jobs.planning.problem import Break
from jobs.planning.solving.tables import Tables


class ClockWithoutBreaks:
    """Cuts breaks out of the days of some shifts (the usual ones of each day)."""

    def __init__(self, tables: Tables, shifts: Sequence[int]) -> None:
        by_day: dict[int, list[int]] = {}
        for shift in shifts:
            by_day.setdefault(tables.shifts[shift].day, []).append(shift)
        self.days: list[tuple[int, int, tuple[Break, ...]]] = []
        for own in by_day.values():
            usual = Counter(tables.shifts[shift].breaks for shift in own).most_common(1)[0][0]
            if usual:
                opens_s = min(tables.shifts[shift].opens_s for shift in own)
                latest_s = max(tables.shifts[shift].latest_s for shift in own)
                self.days.append((opens_s, latest_s, usual))

    def told(self, at_s: int) -> int:
        """What this clock says at a real time, seconds."""
        for opens_s, latest_s, breaks in self.days:
            if opens_s <= at_s <= latest_s:
                return at_s - sum(_cut(rest, at_s) for rest in breaks)
        return at_s


def _cut(rest: Break, at_s: int) -> int:
    """Seconds of that break that lie before the time, with the break in its middle place."""
    middle_s = (rest.earliest_s + rest.latest_s) // 2
    return min(max(0, at_s - middle_s), rest.length_s)
