"""The long lists of an audit's report: the sample, findings with their exchanges, follow-ups."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db.models import Count, Exists, OuterRef, Subquery
from django.utils import timezone

from compliance.audits.things import words_of
from compliance.models import AuditFollowUp, AuditRound, Finding, PopulationJob
from jobs.models import User
from jobs.models.jobs import reference_of

MOST_LISTED = 400
"""A longer sample, and more findings, are in the pack's lists; the report names the gravest."""
CLASSES = (
    (Finding.Severity.CRITICAL, "Critical"),
    (Finding.Severity.MAJOR, "Major"),
    (Finding.Severity.MINOR, "Minor"),
    (Finding.Severity.OBSERVATION, "Observations"),
)


def sample_rows(record: AuditRound) -> tuple[list[list[str]], str]:
    """Number, job, stratum or crew, what was found; and a note where not all are listed."""
    in_population = PopulationJob.objects.filter(round=record, job=OuterRef("job"))
    drawn = record.drawn_jobs.order_by("draw_order")
    size, note = drawn.count(), ""
    if size > MOST_LISTED:
        listed = Finding.objects.filter(drawn_job=OuterRef("pk")).defects()
        drawn = drawn.filter(Exists(listed))
        named = "those with findings"
        if drawn.count() > MOST_LISTED:
            named = f"the first {MOST_LISTED} with findings"
        note = f"Of {size:,} drawn jobs {named}; the pack lists all."
    crewed = drawn.annotate(crew_name=Subquery(in_population.values("crew__name")[:1]))
    rows = []
    for one in crewed.prefetch_related("findings")[:MOST_LISTED]:
        found = [str(f.get_severity_display()) for f in one.findings.all()]
        words = ", ".join(dict.fromkeys(found)) or "to be read"
        group = one.stratum or one.crew_name or ""
        rows.append([str(one.draw_order), reference_of(one.job_id), group, words])
    return rows, note


def findings_by_class(record: AuditRound, user: User | Any) -> list[dict[str, Any]]:
    """The classes, the gravest first, each with its findings and all that was said to them.

    MOST_LISTED in all; `more` says how many of a class are left to the pack's lists.
    """
    rows = Finding.objects.visible_to(user).filter(drawn_job__round=record)
    full = (
        rows.select_related("drawn_job__job__company")
        .prefetch_related("answers__reply", "answers__evidence", "follow_ups")
        .order_by("drawn_job__draw_order", "pk")
    )
    counts = dict(rows.order_by().values_list("severity").annotate(Count("pk")))
    classes, left = [], MOST_LISTED
    for severity, title in CLASSES:
        if count := counts.get(severity, 0):
            items = [_finding(finding) for finding in full.filter(severity=severity)[:left]]
            left -= len(items)
            classes.append(
                {"title": title, "count": count, "items": items, "more": count - len(items)}
            )
    return classes


def _finding(finding: Finding) -> dict[str, Any]:
    job = finding.drawn_job.job
    exchange = [line for answer in finding.answers.all() for line in _exchange(answer)]
    due = f" The answer is due {_day(finding.answer_due_on)}." if finding.answer_due_on else ""
    return {
        "job": job.reference,
        "company": str(job.company),
        "number": finding.pk,
        "on": _day(finding.found_at),
        "concerns": (words_of(job, finding.concerns) or "") if finding.concerns else "",
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


def follow_ups(record: AuditRound, user: User | Any) -> tuple[list[list[str]], str]:
    """Kind, job, due, why, and what became of it; and a note where not all are listed."""
    rows = AuditFollowUp.objects.visible_to(user).filter(round=record).with_place().order_by("pk")
    count = rows.count()
    note = (
        f"Of {count:,} the first {MOST_LISTED}; the pack lists all." if count > MOST_LISTED else ""
    )
    return [
        [
            str(one.get_kind_display()),
            reference_of(one.job_id) if one.job_id else "the round",
            _day(one.due_on),
            one.reason,
            _became(one),
        ]
        for one in rows[:MOST_LISTED]
    ], note


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
