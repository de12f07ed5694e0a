"""How long each kind of personal data is kept, and what a day's work would erase."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from compliance.models import ErasureRequest, LegalHold, RetentionPeriod
from compliance.personal.erasable import held_of
from compliance.personal.erasing import CLOSED, erase_after_retention
from compliance.personal.kinds import BY_CODE, CONTACT, KINDS, DataKind, in_words
from compliance.personal.spreadsheets import forget_spreadsheets
from jobs.errors import Refused, refusals_explained
from jobs.models import Company, Job, Role, User

AHEAD = timedelta(days=30)
"""What is to be erased is listed so long before."""
ASKED_AGAIN_AFTER = timedelta(days=180)
"""Turned down by a person, a retention period asks again after so long."""
MOST_A_DAY = 500


@dataclass(frozen=True, slots=True)
class Period:
    """How long a company keeps a kind: its own choice, or the usual length."""

    kind: DataKind
    months: int
    chosen: RetentionPeriod | None

    @property
    def in_words(self) -> str:
        return in_words(self.months)


def periods_of(company: Company) -> list[Period]:
    chosen = {row.kind: row for row in RetentionPeriod.objects.filter(company=company)}
    return [
        Period(kind, chosen[kind.code].months if kind.code in chosen else kind.usual_months,
               chosen.get(kind.code))
        for kind in KINDS
    ]  # fmt: skip


def set_period(company: Company, kind: str, months: int, by: User) -> RetentionPeriod:
    """Choose how long a company keeps a kind.

    Raises:
        Refused: no such kind, outside its limits, or `by` is no compliance officer of it.
    """
    if by.role != Role.COMPLIANCE_OFFICER or by.company_id != company.pk:
        raise Refused("Only a compliance officer of the company says how long data are kept.")
    known = BY_CODE.get(kind)
    if known is None:
        raise Refused("There is no such kind of data.", field="kind")
    if not known.least_months <= months <= known.most_months:
        raise Refused(
            f"{known.label}: kept from {in_words(known.least_months)} to "
            f"{in_words(known.most_months)}.",
            field="months",
            remedy=f"Not shorter: {known.least_why}. Not longer: {known.most_why}.",
        )
    with refusals_explained():
        period, _ = RetentionPeriod.objects.update_or_create(
            company=company,
            kind=kind,
            defaults={"months": months, "set_by": by, "set_at": timezone.now()},
        )
    return period


def due_jobs(period: Period, company: Company, on: date) -> QuerySet[Job]:
    """Closed jobs whose data of a kind are past their period by a day, the oldest first.

    Not those on hold, nor those of which a person said lately that they are kept.
    """
    closed_by = months_after(on, -period.months)
    held = LegalHold.objects.open().filter(job=OuterRef("pk"))
    kept = ErasureRequest.objects.filter(
        job=OuterRef("pk"),
        kinds__contains=[period.kind.code],
        because=ErasureRequest.Because.RETENTION,
        agreed=False,
        answered_at__gte=timezone.now() - ASKED_AGAIN_AFTER,
    )
    return (
        Job.objects.filter(
            held_of(period.kind.code),
            company=company,
            stage__in=CLOSED,
            stage_since__date__lte=closed_by,
        )
        .exclude(Exists(held))
        .exclude(Exists(kept))
        .order_by("stage_since", "pk")
    )


def due_on(job: Job, period: Period) -> date:
    """The day on which the period of a closed job ends."""
    return months_after(timezone.localdate(job.stage_since), period.months)


def months_after(day: date, months: int) -> date:
    """The same day of another month, or that month's last; `months` may be negative."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def keep_retention_periods(today: date) -> int:
    """Erase what is past its period, or ask a person; how many jobs were erased. Daily."""
    _forget_spreadsheets_everywhere(today)
    erased = 0
    for company, kind, words, job_id in _due_everywhere(today):
        reason = f"{company}: {kind.label.lower()} are kept {words} after a job was closed."
        erased += erase_after_retention(job_id, [kind.code], reason)
    return erased


def _forget_spreadsheets_everywhere(today: date) -> None:
    """Files that homes came with hold contacts too: as long, from the day they were sent."""
    for company in Company.objects.order_by("pk"):
        months = next(p.months for p in periods_of(company) if p.kind.code == CONTACT)
        forget_spreadsheets(company, months_after(today, -months))


def _due_everywhere(today: date) -> Iterator[tuple[Company, DataKind, str, int]]:
    for company in Company.objects.order_by("pk"):
        for period in periods_of(company):
            jobs = due_jobs(period, company, today).values_list("pk", flat=True)[:MOST_A_DAY]
            for job_id in list(jobs):
                yield company, period.kind, period.in_words, job_id
