"""Who goes along with visits that a plan moves and could not come: told before it is accepted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.db.models import F

from jobs.models import ProposedVisit, VisitOperative
from jobs.planning.going_along import Kept, going_along, kept_from, with_what_keeps

Line = ProposedVisit


def plan_leaves(lines: Iterable[Line]) -> dict[int, tuple[Kept, ...]]:
    """By line (its id), were all open ones accepted. One query, and one for each such visit."""
    changing = [line for line in lines if line.answer == "none" and line.change != "kept"]
    moved = {line.visit_id: line for line in changing if moves(line)}
    rows = VisitOperative.objects.filter(visit__in=moved.keys())
    along = rows.exclude(operative__crew=F("visit__crew")).values_list("visit_id", flat=True)
    found = {}
    for visit_id in set(along) if moved else ():
        line = moved[visit_id]
        if left := _left_by(line, changing):
            found[line.pk] = left
    return found


def moves(line: Line) -> bool:
    """Whether a line has a booked visit at another time."""
    return line.visit_id is not None and line.during not in (None, line.was_during)


def _left_by(line: Line, changing: Sequence[Line]) -> tuple[Kept, ...]:
    assert line.visit is not None and line.crew is not None, "It moves a booked visit."
    freed = [other.visit_id for other in changing if other.visit_id]
    people = with_what_keeps(going_along(line.visit, line.crew), line.during, but=freed)
    told = [
        (
            person,
            kept_from(person, line.during) or _planned_elsewhere(person.crew_id, line, changing),
        )
        for person in people.order_by("name")
    ]
    return tuple(Kept(person, why) for person, why in told if why)


def _planned_elsewhere(crew_id: int | None, line: Line, changing: Sequence[Line]) -> str:
    """What the same plan has their own crew do then."""
    for other in changing:
        if crew_id is None or other is line or other.crew_id != crew_id or other.during is None:
            continue
        if other.during.lower < line.during.upper and line.during.lower < other.during.upper:
            job = (other.visit or other.need).job  # type: ignore[union-attr]
            return f"is to be at {job.property.address_line_1} then"
    return ""
