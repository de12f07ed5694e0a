"""What certificates have to show in the demo: one withdrawn, one superseded, a run over many."""

from __future__ import annotations

from datetime import datetime, timedelta

from compliance.certificates.issue import issue_certificate
from compliance.certificates.withdraw import withdraw_certificate
from compliance.issue_runs import begin_issue_run, move_on, waiting_jobs
from compliance.models import Certificate
from deploy.demo.people import Cast

REPLACED = "The house number on it was wrong; an invented case."


def make_certificates(cast: Cast, now: datetime) -> None:
    """By the same functions as anybody's."""
    _replace_one(cast, now)
    _issue_many(cast)


def _replace_one(cast: Cast, now: datetime) -> None:
    """The oldest certificate, which no audit of the demo drew a finding on."""
    officer = cast.people["compliance"]
    certificate = Certificate.objects.current().filter(job__draws=None).order_by("pk").first()
    if certificate is None:
        return
    at = now - timedelta(hours=19)
    withdraw_certificate(certificate, REPLACED, officer, kind="mistake", at=at)
    issue_certificate(certificate.job_id, officer, at=at + timedelta(minutes=3))


def _issue_many(cast: Cast) -> None:
    """Over the lofts that wait: none meets its rule, so it tells what keeps each back."""
    if not waiting_jobs(cast.people["compliance"]).exists():
        return
    run = begin_issue_run(cast.people["compliance"])
    while move_on(run.pk):
        pass
