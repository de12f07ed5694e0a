"""Moves made on the board: where a visit would go, told before and after it is moved."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from jobs.models import Crew, User, Van, Visit, VisitNeed
from jobs.planning.booking import book_visit, move_visit, refuse_past
from jobs.planning.going_along import along_words, back_words, going_along
from jobs.planning.needs import Place, open_parts


@dataclass(frozen=True, slots=True)
class Moved:
    """What was done, in a sentence, and what would undo it.

    `left`: ids of those who went along and do not any more.
    """

    visit: Visit
    sentence: str
    crews: tuple[int, ...]
    was_crew: int | None = None
    was_starts_at: datetime | None = None
    left: tuple[int, ...] = ()


def move_on_board(
    visit: Visit,
    crew: Crew,
    starts_at: datetime,
    *,
    by: User,
    version: int,
    may_leave_behind: Collection[int] = (),
    bring_back: Collection[int] = (),
) -> Moved:
    """Move a visit to a crew and time; its van is the usual one of whoever goes.

    A van that was chosen for the visit alone stays with it. `bring_back`: ids of those whom the
    move that is taken back left behind; they go along again where they are still free.

    Raises: what `move_visit` raises; Refused for a time that has passed.
    """
    refuse_past(starts_at)
    was_crew, was_starts_at, was_promised = visit.crew_id, visit.during.lower, visit.promised_at
    went_along = list(going_along(visit, crew))
    moved = move_visit(
        visit,
        by=by,
        version=version,
        starts_at=starts_at,
        crew=crew,
        van=van_that_goes(visit, crew),
        may_leave_behind=may_leave_behind,
        bring_back=bring_back,
    )
    sentence = f"{_home(moved)} is moved to {_where(moved)}."
    if was_promised is not None and moved.promised_at is None:
        sentence += " The householder was told another time: tell them again."
    if went_along:
        sentence += along_words(moved, went_along)
    if bring_back:
        sentence += back_words(moved, bring_back)
    on_it = set(moved.visit_operatives.values_list("operative_id", flat=True))
    left = tuple(person.pk for person in went_along if person.pk not in on_it)
    return Moved(moved, sentence, (was_crew, crew.pk), was_crew, was_starts_at, left)


def place_on_board(need: VisitNeed, crew: Crew, starts_at: datetime, *, by: User) -> Moved:
    """Book the next part of what waits to be planned.

    Raises: what `book_visit` raises; Refused for a time that has passed.
    """
    refuse_past(starts_at)
    part = next_part(need)
    hours = need.part_hours[part - 1]
    visit = book_visit(
        need.job, need.kind, crew, crew.van, starts_at, hours, by, need.note,
        place=Place(need, part),
    )  # fmt: skip
    return Moved(visit, f"{_home(visit)} is booked for {_where(visit)}.", (crew.pk,))


def next_part(need: VisitNeed) -> int:
    """The first day of the work (from 1) that has no visit; the last where all have one."""
    return next(iter(open_parts(need)), len(need.part_hours))


def van_that_goes(visit: Visit, crew: Crew) -> Van | None | str:
    """The new crew's usual van in place of the old crew's; "same" for any other."""
    if crew.pk == visit.crew_id or visit.van_id != visit.crew.van_id:
        return "same"
    return crew.van


def ends_at_words(visit: Visit) -> str:
    return f"{timezone.localtime(visit.during.upper):%H:%M}"


def _home(visit: Visit) -> str:
    return visit.job.property.address_line_1


def _where(visit: Visit) -> str:
    start = timezone.localtime(visit.during.lower)
    return f"{visit.crew}, {start:%a %-d %b %H:%M}–{ends_at_words(visit)}"
