"""Somebody of another crew goes along on one visit: who is free for it, and sending them.

A crew may be short of hands or of a skill because somebody is away. Who goes along sees the visit
on their phone like the crew; if the visit is moved, they stay off and have to be asked again.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

import pghistory
from django.db.models import Exists, OuterRef
from django.utils import timezone

from jobs.errors import Conflict, Refused, Stale, refusals_explained
from jobs.models import Absence, Operative, User, Visit, VisitOperative
from jobs.planning.booking import lock_visit
from jobs.planning.booking_checks import skills_for
from jobs.planning.calendars import midnight, works_on


def free_operatives(visit: Visit) -> list[Operative]:
    """Who of other crews works that day and is neither away nor on another visit then. One query.

    First those with every skill that the visit takes, then those who are on no visit all day.
    """
    start = timezone.localtime(visit.during.lower).date()
    day = (midnight(start), midnight(start + timedelta(days=1)))
    away = Absence.objects.filter(operative=OuterRef("pk"), during__overlap=visit.during)
    crew_away = Absence.objects.filter(crew=OuterRef("crew"), during__overlap=visit.during)
    on_visits = VisitOperative.objects.filter(operative=OuterRef("pk"), live=True)
    found = (
        Operative.objects.filter(company_id=visit.company_id)
        .exclude(crew=visit.crew_id)
        .exclude(Exists(away) | Exists(crew_away))
        .exclude(Exists(on_visits.filter(during__overlap=visit.during)))
        .alias(out=Exists(on_visits.filter(during__overlap=day)))
        .select_related("crew")
        .order_by("out", "name")
    )
    wanted = set(skills_for(visit.kind, visit.need))
    at_work = [p for p in found if p.crew is None or works_on(p.crew, start)]
    return sorted(at_work, key=lambda person: len(wanted - set(person.skills)))


def lent_to(visit: Visit) -> list[Operative]:
    """Who goes along and is not of the crew (`visit_operatives__operative` loaded: no query)."""
    rows = [row.operative for row in visit.visit_operatives.all()]
    return [person for person in rows if person.crew_id != visit.crew_id]


def lend(visit: Visit, operative: Operative, *, by: User, version: int) -> Visit:
    """Send somebody of another crew along on a booked visit.

    Raises:
        Stale: somebody changed the visit since. Refused: not one of the company, away then, or of
        the crew itself. Conflict: on another visit then.
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
    away = Absence.objects.filter(during__overlap=visit.during)
    if away.filter(operative=operative).exists():
        raise Conflict(
            f"{operative} is away then.",
            field="operative",
            remedy="Choose somebody else, or take the absence back.",
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
    told = [f"{p.name} ({p.crew})" if p.crew else p.name for p in list(people)[:most]]
    return " or ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)
