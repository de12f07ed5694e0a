"""Shortfalls: a job that was found short, who puts it right, by when, and with which visit."""

from __future__ import annotations

from datetime import date, datetime, timedelta

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

    It is due the scheme's weeks for a remedy after it was first flagged, and owned by whoever sent
    the crew that fell short (if that person has left the office, by an officer of the company),
    until the office says otherwise.
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
            job=job,
            due_on=due_on,
            flagged_at=assessment.made_at,
            owner=_who_sent_the_crew(job) or _who_sees_to_it(job),
            **found,
        )
    for name, value in found.items():
        setattr(shortfall, name, value)
    shortfall.save(update_fields=list(found))
    return shortfall


def _who_sent_the_crew(job: Job) -> User | None:
    """Who booked the last visit that was done; nobody if that person has left the office."""
    last = (
        Visit.objects.filter(job=job, status=Visit.Status.DONE).select_related("booked_by").last()
    )
    if last is None or not last.booked_by.is_active:
        return None
    by = last.booked_by
    return by if by.role in OWNERS and by.company_id == job.company_id else None


def _who_sees_to_it(job: Job) -> User | None:
    """Who has been the company's compliance officer longest, or else its planner."""
    office = User.objects.filter(company=job.company_id, is_active=True).order_by("pk")
    officer: User | None = office.filter(role=Role.COMPLIANCE_OFFICER).first()
    return officer or office.filter(role=Role.PLANNER).first()


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


def set_due_date(shortfall: Shortfall, due_on: date, by: User) -> Shortfall:
    """Say by when it is put right; who said so stands in its history.

    Raises:
        Refused: the day has passed, or `by` is no planner or compliance officer of the company.
        Conflict: it is closed.
    """
    if by.role not in OWNERS or by.company_id != shortfall.job.company_id:
        raise Refused("Only a planner or compliance officer of the company sets its due date.")
    if due_on < timezone.localdate():
        raise Refused(
            f"{due_on:%-d %b %Y} has passed.", field="due_on", remedy="Choose today or later."
        )
    _refuse_closed(shortfall)
    shortfall.due_on = due_on
    with refusals_explained():
        shortfall.save(update_fields=["due_on"])
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
