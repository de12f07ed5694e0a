"""What the auditor finds, and what the company says to it."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from compliance.models import AuditRound, DrawnJob, Finding, FindingAnswer
from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.models import User

DAYS_TO_ANSWER = 14
DEFECTIVE = (Finding.Severity.MINOR, Finding.Severity.MAJOR, Finding.Severity.CRITICAL)


def record_finding(
    drawn: DrawnJob, by: User, *, severity: str, text: str = "", concerns: str = ""
) -> Finding:
    """Record a finding on a drawn job; `sound` says that it was read and nothing was found.

    Raises:
        Conflict: the round is closed, or "sound" contradicts a finding.
        Refused: a defect without words.
    """
    if drawn.round.state != AuditRound.State.DRAWN:
        raise Conflict("Findings are recorded while a round is drawn and not closed.")
    if severity == Finding.Severity.SOUND and drawn.findings.filter(severity__in=DEFECTIVE):
        raise Conflict("This job has a finding already, so it cannot be called sound.")
    if severity != Finding.Severity.SOUND and not text.strip():
        raise Refused("Say what was found.", field="text")
    finding = Finding(
        drawn_job=drawn,
        severity=severity,
        text=text.strip(),
        concerns=concerns,
        found_by=by,
        answer_due_on=None
        if severity == Finding.Severity.SOUND
        else timezone.localdate() + timedelta(days=DAYS_TO_ANSWER),
    )
    refuse_invalid(finding)
    with refusals_explained():
        finding.save()
    return finding


def answer_finding(finding: Finding, by: User, text: str) -> FindingAnswer:
    """The company's answer to a finding on one of its jobs.

    Raises:
        Refused: nothing was said.
    """
    if not text.strip():
        raise Refused("Say what was done about it, or why it stands.", field="text")
    return FindingAnswer.objects.create(finding=finding, answered_by=by, text=text.strip())
