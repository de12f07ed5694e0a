"""A crew's visits as an iCalendar (RFC 5545).

What a calendar tells: when, what kind of visit, the address with its position, the job's
reference, which crew and van, and the address of the round sheet, which asks for a sign-in. It
tells no householder's name, phone or e-mail address and no access notes: an address that everybody
who has it can read is no place for them.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from django.apps import apps
from django.conf import settings
from django.db.models import OuterRef, Subquery
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar, Event, Timezone, TimezoneDaylight, TimezoneStandard, vDuration

from jobs.models import Crew, Visit

PRODUCT = "-//Eavesbook//Crew calendar//EN"
ZONE = "Europe/London"
DAYS_BACK, DAYS_AHEAD = 30, 400
READ_AGAIN_AFTER = timedelta(minutes=30)
SUMMER_SINCE = datetime(1981, 3, 29, 1, 0)
WINTER_SINCE = datetime(1996, 10, 27, 2, 0)
"""First changes of the clock under the rules of today, in the local time before each [from the
IANA time zone database; the tests compare twenty years with it]."""


def crew_calendar(crew: Crew) -> bytes:
    """Visits of a crew from a month ago to a year ahead; what was cancelled or given to another
    crew is told as cancelled. The same visits give the same bytes.
    """
    today = timezone.localdate()
    rows = _with_last_change(
        Visit.objects.filter(pk__in=_ever_of(crew)).between(
            today - timedelta(days=DAYS_BACK), today + timedelta(days=DAYS_AHEAD)
        )
    )
    calendar = _empty_calendar(f"{crew.name}, {crew.company.name}")
    calendar.add("refresh-interval", vDuration(READ_AGAIN_AFTER), parameters={"VALUE": "DURATION"})
    return _written(calendar, (_event(visit, crew) for visit in rows.order_by("pk")))


def visit_calendar(visit: Visit) -> bytes:
    """One visit, to be put into a calendar by hand."""
    row = _with_last_change(Visit.objects.filter(pk=visit.pk)).get()
    calendar = _empty_calendar(str(visit.job.reference))
    return _written(calendar, [_event(row, row.crew)])


def _ever_of(crew: Crew) -> Any:
    """Visits that are or were this crew's; the latter were given to another."""
    events = apps.get_model("jobs", "VisitEvent").objects.filter(crew_id=crew.pk)
    now = Visit.objects.filter(crew=crew).values("pk")
    return now.union(events.values("pgh_obj_id"))


def _with_last_change(visits: Any) -> Any:
    events = apps.get_model("jobs", "VisitEvent").objects.filter(pgh_obj_id=OuterRef("pk"))
    changed = Subquery(events.order_by("-pgh_id").values("pgh_created_at")[:1])
    return visits.with_job().select_related("job__company").annotate(changed_at=changed)


def _empty_calendar(name: str) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)  # RFC 7986, 5.1
    calendar.add("x-wr-calname", name)  # what programs from before it read
    calendar.add_component(_london())
    return calendar


def _london() -> Timezone:
    """Europe/London: summer time from the last Sunday of March to the last of October."""
    zone = Timezone()
    zone.add("tzid", ZONE)
    for kind, name, since, month, before, after in (
        (TimezoneDaylight, "BST", SUMMER_SINCE, 3, 0, 1),
        (TimezoneStandard, "GMT", WINTER_SINCE, 10, 1, 0),
    ):
        change = kind()
        change.add("tzname", name)
        change.add("dtstart", since)
        change.add("rrule", {"freq": "yearly", "bymonth": month, "byday": "-1SU"})
        change.add("tzoffsetfrom", timedelta(hours=before))
        change.add("tzoffsetto", timedelta(hours=after))
        zone.add_component(change)
    return zone


def _written(calendar: Calendar, events: Iterable[Event]) -> bytes:
    for event in events:
        calendar.add_component(event)
    written: bytes = calendar.to_ical(sorted=True)
    return written


def _event(visit: Any, crew: Crew) -> Event:
    home = visit.job.property
    changed = (visit.changed_at or visit.booked_at).astimezone(UTC).replace(microsecond=0)
    gone = visit.crew_id != crew.pk or visit.status == Visit.Status.CANCELLED
    event = Event()
    event.add("uid", _uid(visit, crew))
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("sequence", visit.version - 1)
    event.add("dtstart", timezone.localtime(visit.during.lower))
    event.add("dtend", timezone.localtime(visit.during.upper))
    event.add("summary", f"{visit.get_kind_display()}: {home.address_line_1}")
    event.add("location", home.address)
    if home.latitude_deg is not None and home.longitude_deg is not None:
        event.add("geo", (home.latitude_deg, home.longitude_deg))
    event.add("description", _description(visit, crew))
    event.add("url", _round_address(visit, crew))
    event.add("categories", [visit.get_kind_display()])
    event.add("status", "CANCELLED" if gone else "CONFIRMED")
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT" if gone else "OPAQUE")
    return event


def _description(visit: Visit, crew: Crew) -> str:
    van = f" with {visit.van}" if visit.van else ""
    return (
        f"{visit.job.reference}, {crew.name}{van}.\n"
        f"Cautions, drawings and whom to call: on the round sheet, {_round_address(visit, crew)}"
    )


def _round_address(visit: Visit, crew: Crew) -> str:
    day = timezone.localdate(visit.during.lower)
    return settings.PUBLIC_ADDRESS + reverse("round_sheet", args=[crew.pk, day])


def _uid(visit: Visit, crew: Crew) -> str:
    """The same for a visit of a crew for ever, and nowhere else (RFC 7986, section 5.3)."""
    company = visit.job.company
    place = f"{company.slug} {company.created_at.isoformat()}"
    return str(uuid5(NAMESPACE_URL, f"urn:eavesbook:{place} visit {visit.pk} crew {crew.pk}"))
