"""What the auditor finds: drafts that nobody else sees, and findings once they are released."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from compliance.audits.answers import answer_due_on, answer_finding
from compliance.audits.things import require_thing
from compliance.models import AuditRound, DrawnJob, Finding, FindingDraft
from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.models import User

__all__ = [
    "DEFECTIVE",
    "answer_finding",
    "change_draft",
    "discard_draft",
    "draft_finding",
    "record_finding",
    "release_drafts",
    "release_round",
]

DEFECTIVE = (Finding.Severity.MINOR, Finding.Severity.MAJOR, Finding.Severity.CRITICAL)


def record_finding(
    drawn: DrawnJob, by: User, *, severity: str, text: str = "", concerns: str = ""
) -> Finding:
    """Record a finding and release it at once; `sound` says the job was read and nothing found.

    Raises:
        Conflict: the round is closed, or "sound" contradicts a finding.
        Refused: a defect without words, or about something that the job has not.
    """
    require_drawn(drawn)
    if severity == Finding.Severity.SOUND and _has_defect(drawn):
        raise Conflict("This job has a finding already, so it cannot be called sound.")
    if severity != Finding.Severity.SOUND and not text.strip():
        raise Refused("Say what was found.", field="text")
    finding = Finding(
        drawn_job=drawn,
        severity=severity,
        text=text.strip(),
        concerns=require_thing(drawn.job, concerns),
        found_by=by,
        answer_due_on=None
        if severity == Finding.Severity.SOUND
        else answer_due_on(severity, timezone.localdate()),
    )
    refuse_invalid(finding)
    with refusals_explained():
        finding.save()
    return finding


def draft_finding(
    drawn: DrawnJob, by: User, *, severity: str, text: str, concerns: str = ""
) -> FindingDraft:
    """Note a finding that nobody of the company sees until it is released.

    Raises:
        Conflict: the round is not drawn, or closed.
        Refused: no words, no such class, or about something that the job has not.
    """
    return _kept(FindingDraft(drawn_job=drawn, written_by=by), severity, text, concerns)


def change_draft(
    draft: FindingDraft, *, severity: str, text: str, concerns: str = ""
) -> FindingDraft:
    """Write a draft anew. Raises as `draft_finding` does."""
    draft.written_at = timezone.now()
    return _kept(draft, severity, text, concerns)


def discard_draft(draft: FindingDraft) -> None:
    """Drop a draft: it was never a finding."""
    draft.delete()


def release_drafts(drawn: DrawnJob, by: User) -> list[Finding]:
    """Make the drafts of a job findings: facts, which the company sees from now on.

    Raises:
        Conflict: the round is not drawn, or closed.
        Refused: there is no draft.
    """
    found = _release(drawn.drafts.all(), by)
    if not found:
        raise Refused("There is no draft to release on this job.")
    return found


def release_round(record: AuditRound, by: User) -> list[Finding]:
    """The same for all drafts of a round together. Raises as `release_drafts` does."""
    found = _release(FindingDraft.objects.filter(drawn_job__round=record), by)
    if not found:
        raise Refused("There is no draft to release in this round.")
    return found


def require_drawn(drawn: DrawnJob) -> None:
    """Raises Conflict unless the round is drawn and not closed."""
    if drawn.round.state != AuditRound.State.DRAWN:
        raise Conflict("Findings are recorded while a round is drawn and not closed.")


def _kept(draft: FindingDraft, severity: str, text: str, concerns: str) -> FindingDraft:
    require_drawn(draft.drawn_job)
    if not text.strip():
        raise Refused("Say what was found.", field="text")
    draft.severity, draft.text = severity, text.strip()
    draft.concerns = require_thing(draft.drawn_job.job, concerns)
    refuse_invalid(draft)
    with refusals_explained():
        draft.save()
    return draft


def _release(drafts: QuerySet[Any], by: User) -> list[Finding]:
    """Locked, so that two who release at once do not make one draft two findings."""
    with refusals_explained():
        rows = drafts.select_for_update(of=("self",)).select_related("drawn_job__round")
        found = []
        for draft in rows.order_by("drawn_job__draw_order", "pk"):
            found.append(
                record_finding(
                    draft.drawn_job,
                    by,
                    severity=draft.severity,
                    text=draft.text,
                    concerns=draft.concerns,
                )
            )
            draft.delete()
    return found


def _has_defect(drawn: DrawnJob) -> bool:
    return (
        drawn.findings.filter(severity__in=DEFECTIVE).exists()
        or drawn.drafts.filter(severity__in=DEFECTIVE).exists()
    )
