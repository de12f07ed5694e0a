"""Issuing the certificates of many jobs: begun, moved on in pieces, stopped, taken up again.

A run is a list of jobs, each in a state. A piece takes some of those that wait in hand, issues each
by the same function as any certificate, in a transaction of its own, and writes down what came of
it. Several processes may be at a run, each with jobs of its own. A piece may be killed anywhere:
what was in hand is taken again after a while, and a certificate that was issued by then is found,
not issued twice.
"""

from __future__ import annotations

import logging
import re
from collections import Counter
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import DatabaseError, IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from compliance.assess import latest_assessment
from compliance.certificates.issue import issue_certificate
from compliance.certificates.withdraw import withdrawn_by_a_person
from compliance.models import Assessment, Certificate, IssueRun, IssueRunJob
from jobs.errors import Conflict, Refused
from jobs.evidence.engine_words import zones_in_plural
from jobs.models import Job, Scheme, Stage, User
from jobs.numbers import whole_number

PIECE = 10
"""Jobs a piece: a second or two, after which it is seen whether to stop."""
LANES = 2
"""Pieces at once. The next piece goes to the end of the queue, so that others get their turn."""
IN_HAND = timedelta(minutes=5)
"""A job taken in hand so long ago, without an end, was left by a process that died."""
MOST_REFERENCES = 20_000

BROKEN = "Something of ours went wrong with it; the log says what. Try it on its own page."

State = IssueRunJob.State
log = logging.getLogger(__name__)


def begin_issue_run(
    by: User,
    *,
    scheme: Scheme | None = None,
    references: Sequence[str] = (),
    after_withdrawal: bool = False,
) -> IssueRun:
    """A run over the jobs of a company that wait for a certificate.

    scheme: of this scheme alone. references: these jobs alone (J-000123), whatever their stage.
    after_withdrawal: also those whose last certificate a person withdrew; `by` decides so.

    Raises:
        Refused: no such job, too many references, or none that waits.
        Conflict: a run of the company is under way.
    """
    jobs = _jobs_for(by, scheme, references)
    try:
        with transaction.atomic():
            run = IssueRun.objects.create(
                company=by.company,
                scheme=scheme,
                begun_by=by,
                after_withdrawal=after_withdrawal,
            )
            rows = [IssueRunJob(run=run, job_id=job) for job in jobs]
            IssueRunJob.objects.bulk_create(rows, batch_size=2000)
    except IntegrityError as error:
        raise Conflict(
            "Certificates of your company are being issued.",
            remedy="Wait until that run is done, or stop it.",
        ) from error
    return run


def read_references(text: str) -> list[str]:
    """References as somebody pastes them: in lines, with commas or blanks between."""
    return [word for word in re.split(r"[\s,;]+", text.strip()) if word]


def move_on(run_id: int) -> bool:
    """Do the next piece. Returns whether there is more to do for whoever calls again.

    Two processes at once take different jobs.
    """
    run = IssueRun.objects.select_related("begun_by").filter(pk=run_id).first()
    if run is None or run.ended_at is not None:
        return False
    taken = [] if run.stop_asked_at else _take_in_hand(run)
    for row in taken:
        _issue(run, row)
    return _mark(run, bool(taken))


def stop_run(run: IssueRun) -> None:
    """No further piece is begun; what is in hand is finished. Stopping twice does no harm."""
    IssueRun.objects.filter(pk=run.pk, ended_at=None, stop_asked_at=None).update(
        stop_asked_at=timezone.now()
    )


def go_on(run: IssueRun) -> None:
    """Take a stopped run up again where it stopped.

    Raises:
        Conflict: it was not stopped, is done, or another run is under way.
    """
    try:
        with transaction.atomic():
            went = IssueRun.objects.filter(
                pk=run.pk, ended_at__isnull=False, stop_asked_at__isnull=False
            ).update(ended_at=None, stop_asked_at=None, moved_at=timezone.now())
            IssueRunJob.objects.waiting().filter(run=run).update(taken_at=None)
    except IntegrityError as error:
        raise Conflict(
            "Certificates of your company are being issued.", remedy="Wait until that run is done."
        ) from error
    if not went:
        raise Conflict("This run was not stopped, so it can't go on.")


def left_behind(now: datetime) -> QuerySet[Any, int]:
    """Ids of runs whose task was lost."""
    stale = IssueRun.objects.unfinished().filter(moved_at__lt=now - IN_HAND)
    return stale.values_list("pk", flat=True)


def counts_of(run: IssueRun) -> Counter[str]:
    """Jobs by state, and `done` and `total` beside them."""
    states = Counter(run.jobs.values_list("state", flat=True))  # type: ignore[attr-defined]
    total = sum(states.values())
    return states + Counter({"total": total, "done": total - states[State.WAITING]})


def waiting_jobs(user: User) -> QuerySet[Job]:
    """Jobs a run without references would look at: judged and without a certificate."""
    return (
        Job.objects.visible_to(user)
        .filter(stage=Stage.TO_ASSESS, assessments__isnull=False)
        .distinct()
        .order_by("pk")
    )


def meeting_jobs(user: User) -> QuerySet[Job]:
    """Of those, the ones whose latest verdict meets its rule: what a run can issue."""
    meets = Assessment.objects.latest_per_job().filter(verdict=Assessment.Verdict.MEETS)
    return waiting_jobs(user).filter(pk__in=meets.values("job"))


def _jobs_for(by: User, scheme: Scheme | None, references: Sequence[str]) -> list[int]:
    jobs = _named(by, references) if references else waiting_jobs(by)
    if scheme is not None:
        jobs = jobs.filter(scheme=scheme)
    ids = list(jobs.values_list("pk", flat=True))
    if not ids:
        raise Refused(
            "No job waits for a certificate here.",
            remedy="A job waits once it was judged and while it has no valid certificate.",
        )
    return ids


def _named(by: User, references: Sequence[str]) -> QuerySet[Job]:
    """Raises Refused, naming the first few that are not jobs of the company."""
    if len(references) > MOST_REFERENCES:
        raise Refused(
            f"{len(references)} references are more than a run takes ({MOST_REFERENCES}).",
            field="references",
            remedy="Leave the list empty to take all that wait, or split it.",
        )
    wanted = {reference.upper(): _number_of(reference) for reference in references}
    jobs = Job.objects.visible_to(by).filter(pk__in=[n for n in wanted.values() if n])
    known = set(jobs.values_list("pk", flat=True))
    strange = [reference for reference, number in wanted.items() if number not in known]
    if strange:
        more = f" and {len(strange) - 5} more" if len(strange) > 5 else ""
        raise Refused(
            f"Not a job of your company: {', '.join(strange[:5])}{more}.",
            field="references",
            remedy="Write references as J-000123, one to a line.",
        )
    return jobs.order_by("pk")


def _number_of(reference: str) -> int | None:
    return whole_number(reference.upper().removeprefix("J-").lstrip("0"))


def _take_in_hand(run: IssueRun) -> list[IssueRunJob]:
    """The next jobs that nobody else has in hand, marked as ours."""
    now = timezone.now()
    free = Q(taken_at__isnull=True) | Q(taken_at__lt=now - IN_HAND)
    with transaction.atomic():
        rows = list(
            IssueRunJob.objects.waiting()
            .filter(free, run=run)
            .select_for_update(skip_locked=True)
            .order_by("pk")[:PIECE]
        )
        IssueRunJob.objects.filter(pk__in=[row.pk for row in rows]).update(taken_at=now)
    return rows


def _issue(run: IssueRun, row: IssueRunJob) -> None:
    """One job by the one way a certificate is issued; then what came of it."""
    begun = run.begun_at.replace(microsecond=0)  # as certificates are dated
    had = Certificate.objects.current().filter(job=row.job_id, issued_at__lt=begun).first()
    try:
        if had is None:
            _refuse_what_a_person_decided(run, row.job_id)
        certificate = had or issue_certificate(row.job_id, run.begun_by)
    except Refused as refusal:
        _write(row, State.REFUSED, reason=_why_not(row.job_id, refusal))
    except (DatabaseError, OSError):  # of a server, not of this job: the task tries again
        raise
    except Exception:
        log.exception("Job %s got no certificate in run %s", row.job_id, run.pk)
        _write(row, State.REFUSED, reason=BROKEN)
    else:
        mine = certificate.issued_by_id == run.begun_by_id and had is None
        _write(row, State.ISSUED if mine else State.HAD_ONE, certificate=certificate)


def _refuse_what_a_person_decided(run: IssueRun, job_id: int) -> None:
    job = Job.objects.get(pk=job_id)
    if not run.after_withdrawal and withdrawn_by_a_person(job):
        raise Conflict(
            "A person withdrew its last certificate.",
            remedy="Issue it on its own page, or begin a run that takes such jobs too.",
        )


def _why_not(job_id: int, refusal: Refused) -> str:
    """What is missing where a verdict says so, which helps more than that there is none."""
    latest = latest_assessment(Job.objects.get(pk=job_id))
    if latest is None:
        return "It was not judged yet: the work is not handed over."
    if latest.verdict == Assessment.Verdict.MEETS:
        return str(refusal)[:600]
    said = [zones_in_plural(sentence) for sentence in latest.missing]
    if latest.verdict == Assessment.Verdict.SHORT:
        deficit = f"{latest.deficit_mm:.0f} mm over {latest.deficit_area_m2:.1f} m²"
        said.insert(0, f"Too little wool: {deficit}.")
    return f"{latest.get_verdict_display()}: {' '.join(said)}"[:600]


def _write(
    row: IssueRunJob, state: str, *, certificate: Certificate | None = None, reason: str = ""
) -> None:
    """Once: whoever took the same job up after us finds it answered."""
    IssueRunJob.objects.waiting().filter(pk=row.pk).update(
        state=state, certificate=certificate, reason=reason
    )


def _mark(run: IssueRun, worked: bool) -> bool:
    """That the run moved; that it ended, once nothing waits or is in hand where it was to stop."""
    now = timezone.now()
    IssueRun.objects.filter(pk=run.pk).update(moved_at=now)
    run.refresh_from_db(fields=["stop_asked_at"])
    waiting = IssueRunJob.objects.waiting().filter(run=run)
    if run.stop_asked_at:
        waiting = waiting.filter(taken_at__gte=now - IN_HAND)
        worked = False
    if not waiting.exists():
        IssueRun.objects.filter(pk=run.pk, ended_at=None).update(ended_at=now)
        return False
    return worked
