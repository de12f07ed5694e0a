"""Who is where at a time: said beside the database's refusal, so that a planner can choose."""

from __future__ import annotations

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.db.models import Q
from django.utils import timezone

from jobs.models import Crew, Van, Visit


def clashing_visits(
    during: DateTimeTZRange, crew: Crew, van: Van | None, *, but: Visit | None = None
) -> list[Visit]:
    """Visits that keep the crew, its operatives or the van elsewhere during a time."""
    busy = Q(crew=crew) | Q(visit_operatives__operative__crew=crew)
    if van is not None:
        busy |= Q(van=van)
    found = Visit.objects.live().filter(busy, company=crew.company_id, during__overlap=during)
    if but is not None:
        found = found.exclude(pk=but.pk)
    return list(found.with_job().distinct().order_by("during"))


def in_words(visit: Visit) -> str:
    """Such as “North with Van Ash is at 12 Example Row, Mon 30 Nov 08:00–11:30.”"""
    start, end = (timezone.localtime(at) for at in (visit.during.lower, visit.during.upper))
    with_van = f" with {visit.van}" if visit.van else ""
    home = visit.job.property.address_line_1
    return f"{visit.crew}{with_van} is at {home}, {start:%a %-d %b %H:%M}–{end:%H:%M}."
