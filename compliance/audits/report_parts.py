"""The long lists of an audit's report: the sample, findings with their exchanges, follow-ups."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.utils import timezone

from compliance.models import AuditFollowUp, AuditRound, Finding, PopulationJob
from jobs.models import Job, User

MOST_LISTED = 400
"""A longer sample is in the pack's lists; the report then names only jobs with findings."""
CLASSES = (
    (Finding.Severity.CRITICAL, "Critical"),
    (Finding.Severity.MAJOR, "Major"),
    (Finding.Severity.MINOR, "Minor"),
    (Finding.Severity.OBSERVATION, "Observations"),
)


def sample_rows(record: AuditRound) -> tuple[list[list[str]], str]:
    """Number, job, stratum or crew, what was found; and a note where not all are listed."""
    crews = dict(
        PopulationJob.objects.filter(round=record, job__draws__round=record).values_list(
            "job_id", "crew__name"
        )
    )
    rows = []
    for drawn in record.drawn_jobs.order_by("draw_order").prefetch_related("findings"):
        found = [str(f.get_severity_display()) for f in drawn.findings.all()]
        words = ", ".join(dict.fromkeys(found)) or "to be read"
        group = drawn.stratum or crews.get(drawn.job_id) or ""
        rows.append([str(drawn.draw_order), Job(pk=drawn.job_id).reference, group, words])
    if len(rows) <= MOST_LISTED:
        return rows, ""
    kept = [row for row in rows if row[3] not in ("Sound", "to be read")]
    return kept, f"Of {len(rows):,} drawn jobs those with findings; the pack lists all."


def findings_by_class(record: AuditRound, user: User | Any) -> list[dict[str, Any]]:
    """The classes, the gravest first, each with its findings and all that was said to them."""
    rows = (
        Finding.objects.visible_to(user)
        .filter(drawn_job__round=record)
        .defects()
        .select_related("drawn_job__job__company")
        .prefetch_related("answers__reply", "answers__evidence", "follow_ups")
        .order_by("drawn_job__draw_order", "pk")
    )
    found = [(finding.severity, _finding(finding)) for finding in rows]
    return [
        {"title": title, "items": [told for kind, told in found if kind == severity]}
        for severity, title in CLASSES
        if any(kind == severity for kind, _ in found)
    ]


def _finding(finding: Finding) -> dict[str, Any]:
    job = finding.drawn_job.job
    exchange = [line for answer in finding.answers.all() for line in _exchange(answer)]
    due = f" The answer is due {_day(finding.answer_due_on)}." if finding.answer_due_on else ""
    return {
        "job": Job(pk=job.pk).reference,
        "company": str(job.company),
        "number": finding.pk,
        "on": _day(finding.found_at),
        "concerns": finding.concerns.replace(":", " "),
        "text": finding.text,
        "exchange": exchange,
        "open": "" if exchange else f"Not answered yet.{due}",
    }


def _exchange(answer: Any) -> list[dict[str, str]]:
    proved = answer.evidence.count()
    what = f" ({proved} {'piece' if proved == 1 else 'pieces'} of evidence)" if proved else ""
    said = [{"who": f"Company, {_day(answer.answered_at)}{what}", "text": answer.text}]
    reply = getattr(answer, "reply", None)
    if reply is not None:
        verdict = "accepted" if reply.accepted else "not accepted"
        said.append({"who": f"Auditor, {_day(reply.replied_at)}, {verdict}", "text": reply.text})
    return said


def follow_ups(record: AuditRound, user: User | Any) -> list[list[str]]:
    """Kind, job, due, why, and what became of it."""
    rows = AuditFollowUp.objects.visible_to(user).filter(round=record).with_place()
    return [
        [
            str(one.get_kind_display()),
            Job(pk=one.job_id).reference if one.job_id else "the round",
            _day(one.due_on),
            one.reason,
            _became(one),
        ]
        for one in rows.order_by("pk")
    ]


def _became(one: AuditFollowUp) -> str:
    answer = getattr(one, "answer", None)
    if answer is None:
        return "waits"
    said = "done" if answer.done else "turned down"
    return f"{said} {_day(answer.answered_at)}" + (f": {answer.note}" if answer.note else "")


def _day(when: date | datetime | None) -> str:
    if when is None:
        return ""
    day = timezone.localtime(when) if isinstance(when, datetime) else when
    return f"{day.day} {day:%b %Y}"
