"""Shortfalls: a job that was found short, who puts it right, by when, and with which visit."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core.cache import cache
from django.core.mail import send_mail
from django.utils import timezone

from compliance.causes import likely_cause
from compliance.models import Assessment, Shortfall
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Crew, Job, Role, User, Van, Visit
from jobs.planning.booking import book_visit
from jobs.stages import lock_job

OWNERS = (Role.PLANNER, Role.COMPLIANCE_OFFICER)


def flag_shortfall(job: Job, assessment: Assessment) -> Shortfall:
    """Open a shortfall for a short job, or bring the open one up to date with a new verdict.

    It is due the scheme's weeks for a remedy after it was first flagged.
    """
    found = {
        "assessment": assessment,
        "deficit_mm": assessment.deficit_mm,
        "deficit_area_m2": assessment.deficit_area_m2,
        "likely_cause": likely_cause(assessment.arithmetic["depths"], assessment.rule.min_depth_mm),
    }
    shortfall = Shortfall.objects.open().filter(job=job).first()
    if shortfall is None:
        due_on = timezone.localdate(assessment.made_at) + timedelta(weeks=job.scheme.remedy_weeks)
        return Shortfall.objects.create(
            job=job, due_on=due_on, flagged_at=assessment.made_at, **found
        )
    for name, value in found.items():
        setattr(shortfall, name, value)
    shortfall.save(update_fields=list(found))
    return shortfall


def close_shortfall(job: Job, assessment: Assessment) -> None:
    """Close the open shortfall, if any, by an assessment that meets the rule."""
    for shortfall in Shortfall.objects.open().filter(job=job):
        shortfall.closed_by = assessment
        shortfall.closed_at = assessment.made_at
        shortfall.save(update_fields=["closed_by", "closed_at"])


def assign_owner(shortfall: Shortfall, owner: User) -> Shortfall:
    """Say who puts it right: a planner or compliance officer of the job's company."""
    if owner.role not in OWNERS or owner.company_id != shortfall.job.company_id:
        raise Refused(
            f"{owner} cannot own this shortfall.",
            field="owner",
            remedy="Choose a planner or compliance officer of the company.",
        )
    _refuse_closed(shortfall)
    shortfall.owner = owner
    with refusals_explained():
        shortfall.save(update_fields=["owner"])
    return shortfall


def send_call_back(
    shortfall: Shortfall,
    crew: Crew,
    starts_at: datetime,
    hours: float,
    by: User,
    *,
    van: Van | None = None,
    note: str = "",
) -> Visit:
    """Book the visit that puts a shortfall right, and remember it as its remedy.

    Raises:
        Conflict: it is closed, a crew is on its way already, or crew or van is taken.
    """
    with refusals_explained():
        lock_job(shortfall.job_id)
        shortfall = Shortfall.objects.select_related("job").get(pk=shortfall.pk)
        _refuse_closed(shortfall)
        visit = book_visit(
            shortfall.job, Visit.Kind.CALL_BACK, crew, van, starts_at, hours, by, note=note
        )
        shortfall.call_back = visit
        shortfall.save(update_fields=["call_back"])
    return visit


def remember_call_back(visit: Visit) -> None:
    """Whoever booked it, a call-back is the remedy of a shortfall that has none under way."""
    for shortfall in Shortfall.objects.open().filter(job=visit.job_id).select_related("call_back"):
        if not call_back_under_way(shortfall):
            shortfall.call_back = visit
            shortfall.save(update_fields=["call_back"])


def call_back_under_way(shortfall: Shortfall) -> bool:
    """Whether a crew is booked to put it right, or is there now."""
    visit = shortfall.call_back
    return visit is not None and visit.status in (Visit.Status.BOOKED, Visit.Status.ON_SITE)


def _refuse_closed(shortfall: Shortfall) -> None:
    if shortfall.closed_at is not None:
        raise Conflict("This shortfall is closed: a later assessment met the rule.")


def chase_late(today: date) -> int:
    """Mail every company its late shortfalls, once a day. Returns the number of messages.

    Each goes to the shortfall's owner, or to the compliance officers where it has none.
    """
    messages = 0
    for person, late in _late_by_person(today).items():
        if not cache.add(f"chased:{person.pk}:{today.isoformat()}", True, 36 * 3600):
            continue
        send_mail(
            f"{len(late)} late shortfall{'s' if len(late) > 1 else ''}",
            late_digest(late, today),
            settings.DEFAULT_FROM_EMAIL,
            [person.email],
        )
        messages += 1
    return messages


def late_digest(late: list[Shortfall], today: date) -> str:
    """The text of the message: one line a shortfall, the longest overdue first."""
    lines = [
        f"- {s.job.reference}, {s.job.property}: {s.deficit_mm:.0f} mm short over "
        f"{s.deficit_area_m2:.1f} m2, due {s.due_on:%-d %b %Y}, {(today - s.due_on).days} days "
        f"late, {'a' if call_back_under_way(s) else 'no'} call-back booked"
        for s in sorted(late, key=lambda s: s.due_on)
    ]
    return "These lofts were found short and are not put right yet:\n\n" + "\n".join(lines) + "\n"


def _late_by_person(today: date) -> dict[User, list[Shortfall]]:
    late = Shortfall.objects.late(today).select_related("job__property", "owner", "call_back")
    officers: dict[int | None, list[User]] = defaultdict(list)
    for person in User.objects.filter(role=Role.COMPLIANCE_OFFICER, is_active=True):
        officers[person.company_id].append(person)
    found: dict[User, list[Shortfall]] = defaultdict(list)
    for shortfall in late:
        owner = shortfall.owner
        people = [owner] if owner and owner.is_active else officers[shortfall.job.company_id]
        for person in people:
            found[person].append(shortfall)
    return found
