"""Which lines of a plan need another one accepted with them.

A line needs another if it takes a place that the other's visit still has (crew or van), or if what
must come before it is booked, or gets out of its way, only by the other. The reverse does not
follow: a visit can move off without anybody taking its place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta

from jobs.models import ProposedVisit

Change = ProposedVisit.Change
CHANGING = (Change.NEW, Change.MOVED, Change.OTHER_CREW, Change.TAKEN_OFF)


def needed_by_line(lines: Iterable[ProposedVisit]) -> dict[int, tuple[int, ...]]:
    """By the id of each open line, the ids of the open lines that it cannot do without.

    Only what is needed directly: those may need others in turn (`with_partners`).
    """
    open_ = [line for line in lines if line.change in CHANGING and line.answer == "none"]
    leaving = _leaving(open_)
    of_need, following = _by_need(open_), _by_need(open_, "after_id")
    found: dict[int, tuple[int, ...]] = {}
    for line in open_:
        wanted = dict.fromkeys([*_in_the_way(line, leaving), *_before(line, of_need, following)])
        if wanted:
            found[line.pk] = tuple(wanted)
    return found


def with_partners(chosen: Iterable[int], needed: Mapping[int, Sequence[int]]) -> set[int]:
    """The chosen lines and every line that one of them needs, however far down."""
    found: set[int] = set()
    queue = list(chosen)
    while queue:
        pk = queue.pop()
        if pk not in found:
            found.add(pk)
            queue.extend(needed.get(pk, ()))
    return found


Leaving = Mapping[tuple[str, int], Sequence[ProposedVisit]]
ByNeed = Mapping[int, Sequence[ProposedVisit]]


def _leaving(lines: Iterable[ProposedVisit]) -> Leaving:
    """Lines whose visit is booked now, by the crew and the van that it keeps busy."""
    found: dict[tuple[str, int], list[ProposedVisit]] = defaultdict(list)
    for line in lines:
        if line.visit is None or line.was_during is None:
            continue
        found["crew", line.was_crew_id or 0].append(line)
        if line.visit.van_id is not None:
            found["van", line.visit.van_id].append(line)
    return found


def _in_the_way(line: ProposedVisit, leaving: Leaving) -> Iterator[int]:
    """Other lines whose visit is still where this one is to be."""
    if line.during is None or line.change == Change.TAKEN_OFF:
        return
    for holder in (("crew", line.crew_id or 0), ("van", line.van_id or 0)):
        for other in leaving.get(holder, ()):
            was = other.was_during
            overlap = line.during.lower < was.upper and was.lower < line.during.upper
            if other.pk != line.pk and overlap:
                yield other.pk


def _by_need(lines: Iterable[ProposedVisit], field: str = "pk") -> ByNeed:
    """The open lines of each need; with `after_id`, of the needs that must follow it."""
    found: dict[int, list[ProposedVisit]] = defaultdict(list)
    for line in lines:
        if line.need is not None:
            found[getattr(line.need, field) or 0].append(line)
    return found


def _before(line: ProposedVisit, of_need: ByNeed, following: ByNeed) -> Iterator[int]:
    """Lines of what must come before this one, and of what must follow it, where they change it.

    The days of one job belong together.
    """
    need = line.need
    if need is None or line.during is None or line.change == Change.TAKEN_OFF:
        return
    for other in of_need.get(need.pk, ()):
        if other.pk != line.pk and line.change == other.change == Change.NEW:
            yield other.pk
    gap = timedelta(hours=need.after_gap_hours)
    for other in of_need.get(need.after_id or 0, ()):
        was_late = other.was_during is None or other.was_during.upper + gap > line.during.lower
        if was_late and other.change != Change.TAKEN_OFF:
            yield other.pk
    for other in following.get(need.pk, ()):
        was = other.was_during
        gap = timedelta(hours=other.need.after_gap_hours) if other.need else timedelta()
        if was is not None and was.lower < line.during.upper + gap:
            yield other.pk
