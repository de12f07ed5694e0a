"""Somebody of another crew goes along on one visit: who is free for it, and sending them.

A crew may be short of hands or of a skill because somebody is away. Who goes along sees the visit
on their phone like the crew. When the visit moves, they stay with it if they are free then; else
whoever moves it is told so by name, and has to say that it moves without them (`going_along.py`).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

import pghistory
from django.db.models import Exists, OuterRef
from django.utils import timezone

from jobs.errors import Conflict, Refused, Stale, refusals_explained
from jobs.models import Operative, User, Visit, VisitOperative
from jobs.planning.booking import lock_visit
from jobs.planning.booking_checks import skills_for
from jobs.planning.calendars import midnight
from jobs.planning.going_along import kept_from, named, with_what_keeps


def free_operatives(visit: Visit) -> list[Operative]:
    """Who of other crews nothing keeps from a visit (`kept_from`). One query.

    First those with every skill that the visit takes, then those who are on no visit all day.
    """
    start = timezone.localtime(visit.during.lower).date()
    day = (midnight(start), midnight(start + timedelta(days=1)))
    out = VisitOperative.objects.filter(operative=OuterRef("pk"), live=True, during__overlap=day)
    others = Operative.objects.filter(company_id=visit.company_id).exclude(crew=visit.crew_id)
    found = with_what_keeps(others, visit.during).alias(out=Exists(out)).order_by("out", "name")
    wanted = set(skills_for(visit.kind, visit.need))
    free = [person for person in found if not kept_from(person, visit.during)]
    return sorted(free, key=lambda person: len(wanted - set(person.skills)))


def lent_to(visit: Visit) -> list[Operative]:
    """Who goes along and is not of the crew (`visit_operatives__operative` loaded: no query)."""
    rows = [row.operative for row in visit.visit_operatives.all()]
    return [person for person in rows if person.crew_id != visit.crew_id]


def lend(visit: Visit, operative: Operative, *, by: User, version: int) -> Visit:
    """Send somebody of another crew along on a booked visit.

    Raises:
        Stale: somebody changed the visit since. Refused: not one of the company, or of the crew
        itself. Conflict: away then, alone or with all of their crew; not at work that day; on
        another visit then.
    """
    with pghistory.context(user=by.pk, what="sent along"), refusals_explained():
        visit = _booked(visit, version)
        _refuse_unfit(visit, operative)
        VisitOperative.objects.create(visit=visit, operative=operative)
        return _changed(visit)


def take_back(visit: Visit, operative: Operative, *, by: User, version: int) -> Visit:
    """Who was to go along does not.

    Raises:
        Stale: somebody changed the visit since. Refused: they do not go along.
    """
    with pghistory.context(user=by.pk, what="not sent along"), refusals_explained():
        visit = _booked(visit, version)
        lent = visit.visit_operatives.filter(operative=operative).exclude(
            operative__crew=visit.crew_id
        )
        if not lent.delete()[0]:
            raise Refused(f"{operative} does not go along.", field="operative")
        return _changed(visit)


def _refuse_unfit(visit: Visit, operative: Operative) -> None:
    if operative.company_id != visit.company_id:
        raise Refused("There is no such person.", field="operative", remedy="Choose one of yours.")
    if operative.crew_id == visit.crew_id:
        raise Refused(f"{operative} is of {visit.crew} already.", field="operative")
    if visit.visit_operatives.filter(operative=operative).exists():
        raise Refused(f"{operative} goes along already.", field="operative")
    person = with_what_keeps(Operative.objects.filter(pk=operative.pk), visit.during).get()
    if why := kept_from(person, visit.during):
        raise Conflict(
            f"{named(person)} {why}.",
            field="operative",
            remedy="Choose somebody who is free then, or move what keeps them.",
        )


def _booked(visit: Visit, version: int) -> Visit:
    visit = lock_visit(visit.pk)
    if visit.version != version:
        raise Stale("This visit")
    if visit.status != Visit.Status.BOOKED:
        word = visit.get_status_display()
        raise Refused(f"This visit is at “{word}”: nobody is sent along any more.", field="status")
    return visit


def _changed(visit: Visit) -> Visit:
    visit.version += 1
    visit.save(update_fields=["version"])
    return visit


def names(people: Iterable[Operative], most: int = 3) -> str:
    """Such as “Ana Reed (South) or Jo Finch”."""
    told = [named(person) for person in list(people)[:most]]
    return " or ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)
