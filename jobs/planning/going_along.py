"""Who of other crews can be on a visit at a time, and what becomes of who goes along as it moves.

One rule tells what keeps a person from a visit; who is offered, who is sent and who stays with a
visit that moves all go by it. On a double booking the database has the last word.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.db.models import Exists, F, OuterRef, QuerySet, Subquery
from django.utils import timezone

from jobs.errors import Conflict
from jobs.models import Absence, Crew, Operative, Visit, VisitOperative
from jobs.planning.calendars import holiday_on, works_on


@dataclass(frozen=True, slots=True)
class Kept:
    """Somebody who cannot be on a visit. `why`: such as “is away then”."""

    person: Operative
    why: str

    @property
    def sentence(self) -> str:
        return f"{named(self.person)} {self.why} and could not come along."

    @property
    def told(self) -> dict[str, Any]:
        """What a program is told."""
        return {"operative": self.person.pk, "name": self.person.name, "why": self.why}

    @property
    def stays_away(self) -> str:
        return f"{named(self.person)} {self.why} and could not come back."

    @property
    def is_left(self) -> str:
        return f"{named(self.person)} {self.why} and does not go along any more."


class LeftBehind(Conflict):
    """A visit is to move to where somebody who goes along with it could not come."""

    def __init__(self, left: Sequence[Kept]) -> None:
        super().__init__(
            " ".join(each.sentence for each in left),
            field="may_leave_behind",
            remedy="Choose another time, or say that it moves without them.",
        )
        self.left = tuple(left)
        self.members = {"left_behind": [each.told for each in left]}


def with_what_keeps(
    people: QuerySet[Operative], during: DateTimeTZRange, *, but: Iterable[int] = ()
) -> QuerySet[Operative]:
    """Operatives with what `kept_from` reads. `but`: visits that do not count, by id."""
    absences = Absence.objects.filter(during__overlap=during)
    visits = VisitOperative.objects.filter(
        operative=OuterRef("pk"), live=True, during__overlap=during
    ).exclude(visit__in=list(but))
    return people.select_related("crew").annotate(
        is_away=Exists(absences.filter(operative=OuterRef("pk"))),
        crew_is_away=Exists(absences.filter(crew=OuterRef("crew"))),
        is_at=Subquery(visits.values("visit__job__property__address_line_1")[:1]),
    )


def kept_from(person: Operative, during: DateTimeTZRange) -> str:
    """Why somebody (of `with_what_keeps`) cannot be on a visit in that time; "" if they can."""
    found: Any = person
    day, crew = timezone.localtime(during.lower).date(), person.crew
    if found.is_away:
        return "is away then"
    if crew is not None and found.crew_is_away:
        return f"is away then with all of {crew}"
    if crew is not None and not works_on(crew, day):
        holiday = holiday_on(day, crew.nation)
        return f"does not work on {f'{day:%-d %b} ({holiday})' if holiday else f'{day:%A}s'}"
    if found.is_at is not None:
        return f"is at {found.is_at or 'another home'} then"
    return ""


def going_along(visit: Visit, crew: Crew) -> QuerySet[Operative]:
    """Who is on a visit and neither of the crew that has it nor of `crew` that is to have it."""
    rows = VisitOperative.objects.filter(visit=visit).exclude(operative__crew=F("visit__crew"))
    return Operative.objects.filter(pk__in=rows.values("operative")).exclude(crew=crew)


def left_behind(visit: Visit, crew: Crew, during: DateTimeTZRange) -> list[Kept]:
    """Who goes along and could not come to another time. One query.

    Where the time stays, so does everybody who goes along. `visit.during`: as it is stored.
    """
    if visit.during == during:
        return []
    told = [(person, kept_from(person, during)) for person in _asked(visit, crew, during)]
    return [Kept(person, why) for person, why in told if why]


def coming_along(visit: Visit, crew: Crew, during: DateTimeTZRange) -> list[Operative]:
    """Who goes along and can come to another time. One query."""
    return [each for each in _asked(visit, crew, during) if not kept_from(each, during)]


def coming_back(
    visit: Visit, crew: Crew, during: DateTimeTZRange, ids: Collection[int]
) -> tuple[list[Operative], list[Kept]]:
    """Of those who were left behind: who can be on the visit again, and who cannot. One query.

    Who is on it already, or of the crew itself, is neither.
    """
    people = Operative.objects.filter(company=visit.company_id, pk__in=ids).exclude(crew=crew)
    absent = people.exclude(on_visits__visit=visit).order_by("name")
    told = [(p, kept_from(p, during)) for p in with_what_keeps(absent, during, but=[visit.pk])]
    return [p for p, why in told if not why], [Kept(p, why) for p, why in told if why]


def _asked(visit: Visit, crew: Crew, during: DateTimeTZRange) -> QuerySet[Operative]:
    people = going_along(visit, crew).order_by("name")
    return with_what_keeps(people, during, but=[visit.pk])


def leave_behind_who_cannot(visit: Visit) -> list[Kept]:
    """Take off a visit, as it is stored by now, who goes along and cannot be there then.

    For visits that moved together: to be asked once all of them are where they are to be.
    """
    asked = _asked(visit, visit.crew, visit.during)
    left = [Kept(person, why) for person in asked if (why := kept_from(person, visit.during))]
    take_off(visit, left)
    return left


def refuse_leaving_behind(left: Sequence[Kept], known: Collection[int]) -> None:
    """Refuse to move without somebody whom the mover did not name (ids of operatives)."""
    if any(each.person.pk not in known for each in left):
        raise LeftBehind(left)


def take_off(visit: Visit, left: Iterable[Kept]) -> None:
    """Who is left behind is not on the visit any more."""
    gone = [each.person.pk for each in left]
    if gone:
        visit.visit_operatives.filter(operative__in=gone).delete()


def along_words(visit: Visit, went_along: Iterable[Operative]) -> str:
    """Who still goes along with a visit that moved, and who does not."""
    on_it = set(visit.visit_operatives.values_list("operative_id", flat=True))
    told = (
        f" {named(person)} {'still goes' if person.pk in on_it else 'does not go'} along."
        for person in went_along
    )
    return "".join(told)


def back_words(visit: Visit, ids: Collection[int]) -> str:
    """Who of those left behind goes along again with a visit, as stored by now, and who not."""
    again = Operative.objects.filter(pk__in=ids, on_visits__visit=visit).order_by("name")
    _, kept = coming_back(visit, visit.crew, visit.during, ids)
    told = [*(f"{named(p)} goes along again." for p in again), *(k.stays_away for k in kept)]
    return "".join(f" {sentence}" for sentence in told)


def named(person: Operative) -> str:
    """Such as “Ana Reed (South)”."""
    return f"{person.name} ({person.crew})" if person.crew else person.name
