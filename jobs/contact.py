"""Who may know who lives in a home, and how to reach them: whoever has to, while they have to.

The office always. A surveyor while the home waits for its survey or has one booked. An installer
while its crew is booked there, and so long after that questions can still be asked. Nobody else.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Value
from django.db.models.expressions import Combinable
from django.utils import timezone

from jobs.models import Job, Property, Role, Stage, User, Visit
from jobs.models.properties import OF_THE_HOUSEHOLD

AFTERWARDS = timedelta(days=14)
"""So long after a visit its crew may still call [common practice, no published source]."""

OFFICE = (Role.PLANNER, Role.COMPLIANCE_OFFICER)
TO_BE_SURVEYED = (Stage.TO_SURVEY, Stage.TO_QUANTIFY)
PERSON_HIDDEN = (Role.AUDITOR, Role.SURVEYOR)
"""Who reads evidence without the names and signatures in it."""


def with_contact_seen(homes: QuerySet[Property], user: User) -> QuerySet[Property]:
    """Homes with `contact_seen`: whether this person may know who lives there."""
    return homes.annotate(contact_seen=_seen(user))


def may_see_contact(user: User, home: Property) -> bool:
    if user.role in OFFICE:
        return True
    rows = with_contact_seen(Property.objects.filter(pk=home.pk), user)
    return rows.filter(contact_seen=True).exists()


def crew_may_call(visit: Visit, today: date | None = None) -> bool:
    """Whether the crew of a visit still sees how to reach the household."""
    if visit.status in (Visit.Status.BOOKED, Visit.Status.ON_SITE):
        return True
    ended = timezone.localdate(visit.during.upper)
    return ended + AFTERWARDS >= (today or timezone.localdate())


def hide_old_contact(visits: Iterable[Visit]) -> None:
    """Take the household's contact out of these objects where the crew may not call any more.

    The objects are for showing; nobody saves their homes.
    """
    for visit in visits:
        if not crew_may_call(visit):
            for name in OF_THE_HOUSEHOLD:
                setattr(visit.job.property, name, "")


def _seen(user: User | Any) -> Combinable:
    if user.role in OFFICE:
        return Value(True)
    if user.role == Role.SURVEYOR:
        to_survey = Job.objects.filter(property=OuterRef("pk"), stage__in=TO_BE_SURVEYED)
        return Exists(to_survey.filter(company_id=user.company_id))
    if user.role == Role.INSTALLER:
        since = timezone.now() - AFTERWARDS
        near = Q(status__in=("booked", "on_site")) | Q(during__endswith__gte=since)
        visits = Visit.objects.booked_on_crew_of(user).filter(near)
        return Exists(visits.filter(job__property=OuterRef("pk")))
    return Value(False)
