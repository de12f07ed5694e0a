"""Work in the background. Each task may run twice: what is done already is done."""

from __future__ import annotations

import logging

from celery import shared_task
from django.db import OperationalError
from django.utils import timezone

from compliance import issue_runs
from compliance.assess import assess_if_due
from compliance.audits import answer_photos
from compliance.audits.chasing import remind_of_answers as remind_officers
from compliance.catching_up import jobs_to_assess, left_to_certify
from compliance.certificates.issue import issue_certificate
from compliance.digest import chase_late
from compliance.ledger.seals import make_seal
from compliance.models import AnswerEvidence, Assessment
from compliance.personal import erasing, retention
from compliance.rule_runs import begin_due_reassessments, left_behind, move_on
from jobs.errors import Conflict

log = logging.getLogger(__name__)

RETRY = {
    "autoretry_for": (OperationalError, OSError),
    "retry_backoff": 2,
    "retry_backoff_max": 120,
    "max_retries": 8,
}
CATCH_UP_AT_ONCE = 500


@shared_task(**RETRY)
def assess(job_id: int) -> str:
    """Judge a job; when it meets its rule, have its certificate issued."""
    assessment = assess_if_due(job_id)
    if assessment is None:
        return "nothing to judge"
    if assessment.verdict == Assessment.Verdict.MEETS:
        certify.delay(job_id)
    return assessment.verdict


@shared_task(**RETRY)
def certify(job_id: int) -> str:
    """Issue the certificate of a job that meets its rule."""
    try:
        return issue_certificate(job_id).code
    except Conflict as refusal:  # new evidence or a person came in between; not an error
        log.info("No certificate for job %s: %s", job_id, refusal)
        return str(refusal)


@shared_task
def seal_ledger() -> int:
    """Put new entries in the tree and sign its head; returns the size sealed."""
    return make_seal().tree_size


@shared_task
def catch_up() -> int:
    """Start again what a crash or a lost message left undone."""
    to_assess = jobs_to_assess(timezone.now())[:CATCH_UP_AT_ONCE]
    to_certify = list(left_to_certify()[:CATCH_UP_AT_ONCE])
    for job_id in to_assess:
        assess.delay(job_id)
    for job_id in to_certify:
        certify.delay(job_id)
    return len(to_assess) + len(to_certify)


@shared_task(**RETRY)
def walk_for_rule(run_id: int) -> str:
    """The next piece of a run over jobs for a rule, and the one after it."""
    if move_on(run_id):
        walk_for_rule.delay(run_id)
        return "more to do"
    return "done"


@shared_task
def look_after_rules() -> int:
    """Judge anew what a rule that has begun concerns; take up runs that were left behind."""
    begun = [run.pk for run in begin_due_reassessments(timezone.localdate())]
    waiting = [*begun, *left_behind(timezone.now())]
    for run_id in waiting:
        walk_for_rule.delay(run_id)
    return len(waiting)


@shared_task
def remind_of_answers() -> int:
    """Remind compliance officers of what they owe auditors, before and after it is due."""
    return remind_officers(timezone.localdate())


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def inspect_answer_picture(evidence_id: int) -> None:
    """Look at a picture or document that came with an answer to a finding."""
    rows = AnswerEvidence.objects.select_related("finding__drawn_job__job__property")
    answer_photos.inspect_answer_file(rows.get(pk=evidence_id))


@shared_task
def inspect_waiting_answers() -> int:
    """Send files of answers that no inspection followed."""
    waiting = answer_photos.waiting_file_ids()
    for evidence_id in waiting:
        inspect_answer_picture.delay(evidence_id)
    return len(waiting)


@shared_task
def chase_late_shortfalls() -> int:
    """Remind people of shortfalls whose due date has passed."""
    return chase_late(timezone.localdate())


@shared_task(**RETRY)
def issue_for_run(run_id: int) -> str:
    """The next piece of a run that issues many certificates, and the one after it."""
    if issue_runs.move_on(run_id):
        issue_for_run.delay(run_id)
        return "more to do"
    return "done"


def send_issue_run(run_id: int) -> None:
    """Begin with a run, or take it up, in as many tasks as work at it side by side."""
    for _ in range(issue_runs.LANES):
        issue_for_run.delay(run_id)


@shared_task
def look_after_issue_runs() -> int:
    """Take up runs whose tasks were lost."""
    waiting = list(issue_runs.left_behind(timezone.now()))
    for run_id in waiting:
        send_issue_run(run_id)
    return len(waiting)


@shared_task
def keep_retention_periods() -> int:
    """Erase what is past its retention period, or ask a person; how many jobs were erased."""
    return retention.keep_retention_periods(timezone.localdate())


@shared_task
def remove_erased_bytes() -> int:
    """Remove files that an erasure left behind, such as while storage was down."""
    return erasing.remove_bytes()
