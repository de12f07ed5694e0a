"""Pages to read a round's pack by, in any browser and without a connection: one for each job.

They hold no name, address or telephone number of a household. What proves anything are the
entries of the ledger; the pages are for people.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from django.utils import timezone

from compliance.drawings import draw_assessment
from compliance.models import (
    Assessment,
    AuditRound,
    Certificate,
    DrawnJob,
    Finding,
    Remeasurement,
)
from jobs.evidence.questions import QUESTIONS
from jobs.models import DepthReading, Photo, PreStartCheck, User
from jobs.models.jobs import reference_of

CHUNK = 200
MOST_DRAWINGS = 500
"""Beyond so many jobs pages come without drawings, which take longer than all the rest."""
ASKED = {question.code: question.short or question.text for question in QUESTIONS}
STYLE = """\
body{font:16px/1.45 system-ui,sans-serif;margin:1rem auto;padding:0 1rem;max-width:62rem;
color:#1c1c1c}
table{border-collapse:collapse;width:100%}th,td{text-align:left;padding:.25rem .6rem .25rem 0;
border-bottom:1px solid #ccc;vertical-align:top}figure{margin:0;display:inline-block;width:15rem;
vertical-align:top;padding:0 .6rem .6rem 0}img{width:100%;height:11rem;object-fit:contain;
background:#eee}svg{max-width:34rem}h2{margin:1.6rem 0 .4rem}.soft{color:#555}
nav a{margin-right:1rem}
@media(max-width:40rem){table{display:block;overflow-x:auto}}
"""
CLASS = {value: escape(str(label)) for value, label in Finding.Severity.choices}
WHERE = {value: escape(str(label)) for value, label in DepthReading.Allowance.choices}
YES_OR_NO = ("pre_start_check", "handover", "work_step")
READING_COLUMNS = (
    "visit__job_id",
    "pk",
    "area__name",
    "x_mm",
    "y_mm",
    "depth_mm",
    "allowance",
    "visit__crew__name",
)
CHECK_COLUMNS = ("visit__job_id", "corrected_at", "safe_to_start", "answers", "visit__crew__name")
MOMENTS = ("before", "after", "other")

Files = Iterator[tuple[str, Iterator[bytes]]]


@dataclass(frozen=True, slots=True)
class _Drawn:
    """As much of a drawn job as its page's head says."""

    pk: int
    job_id: int
    order: int
    company: str

    @property
    def name(self) -> str:
        return reference_of(self.job_id)


def pages_of(record: AuditRound, user: User | Any, *, with_photos: bool) -> Files:
    """Names below data/audit/ and bytes: the index, and a page for each drawn job."""
    found = Finding.objects.visible_to(user).filter(drawn_job__round=record).order_by("pk")
    size = record.drawn_jobs.count()
    yield "index.html", _index(record, size, found)
    draws = size <= MOST_DRAWINGS
    for some in _drawn_of(record):
        evidence = _Evidence([one.job_id for one in some], draws=draws)
        evidence.add_measured_again([one.pk for one in some], user)
        mine = found.filter(drawn_job__in=[one.pk for one in some])
        findings = _by(mine.prefetch_related("answers__reply"), lambda row: row.drawn_job_id)
        for one in some:
            page = _job_page(one, evidence, findings[one.pk], with_photos=with_photos, draws=draws)
            yield f"jobs/{one.name}.html", iter([page.encode()])


def _drawn_of(record: AuditRound) -> Iterator[list[_Drawn]]:
    """CHUNK drawn jobs at a time, in the order of the draw."""
    rows = DrawnJob.objects.filter(round=record).order_by("draw_order")
    columns = ("pk", "job_id", "draw_order", "job__company__name")
    last = 0
    while some := [
        _Drawn(*row) for row in rows.filter(draw_order__gt=last).values_list(*columns)[:CHUNK]
    ]:
        yield some
        last = some[-1].order


class _Evidence:
    """All that the pages of some jobs show, a query a kind."""

    def __init__(self, job_ids: Sequence[int], *, draws: bool) -> None:
        self.photos = _by(
            Photo.objects.filter(job__in=job_ids, replaced_by__isnull=True)
            .only("job_id", "moment", "point_label", "corrected_at", "received_at", "sha256")
            .order_by("pk"),
            lambda photo: photo.job_id,
        )
        self.readings = _by(
            DepthReading.objects.current()
            .filter(visit__job__in=job_ids)
            .order_by("pk")
            .values_list(*READING_COLUMNS),
            lambda reading: reading[0],
        )
        self.checks = _by(
            PreStartCheck.objects.current()
            .filter(visit__job__in=job_ids)
            .order_by("pk")
            .values_list(*CHECK_COLUMNS),
            lambda check: check[0],
        )
        verdicts = Assessment.objects.filter(job__in=job_ids).latest_per_job()
        self.verdicts = {
            verdict.job_id: verdict
            for verdict in verdicts.select_related("rule").defer(*(() if draws else ("inputs",)))
        }
        self.certificates = _by(
            Certificate.objects.filter(job__in=job_ids)
            .select_related("withdrawal")
            .defer("contents")
            .order_by("pk"),
            lambda certificate: certificate.job_id,
        )

    def add_measured_again(self, drawn_ids: Sequence[int], user: User | Any) -> None:
        """By reading: the auditor's depth [mm] at its place."""
        rows = Remeasurement.objects.visible_to(user).current()
        mine = rows.filter(drawn_job__in=drawn_ids)
        self.again: dict[int, float] = dict(mine.values_list("reading_id", "depth_mm"))


def _by(rows: Iterable[Any], key: Any) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


def _index(record: AuditRound, size: int, found: Any) -> Iterator[bytes]:
    yield _head(f"Audit round “{record.name}”").encode()
    yield (
        f"<p>{escape(record.scheme.name)}. Population {record.population_size:,} jobs, "
        f"{size:,} drawn, {record.get_state_display().lower()}.</p>"
        '<nav><a href="report.pdf">The report</a><a href="pictures/">Pictures</a>'
        '<a href="lists/">Lists</a><a href="../../README.txt">What is in the pack</a></nav>'
        "<h2>Drawn jobs</h2><table><thead><tr><th scope=col>No.<th scope=col>Job"
        "<th scope=col>Company<th scope=col>Found</tr></thead><tbody>\n"
    ).encode()
    for some in _drawn_of(record):
        mine = found.filter(drawn_job__in=[one.pk for one in some])
        classes = _by(mine.values_list("drawn_job_id", "severity"), lambda row: row[0])
        for one in some:
            words = ", ".join(CLASS[severity] for _, severity in classes[one.pk])
            yield (
                f'<tr><td>{one.order}<td><a href="jobs/{one.name}.html">{one.name}</a>'
                f"<td>{escape(one.company)}<td>{words or 'to be read'}</tr>\n"
            ).encode()
    yield b"</tbody></table></body></html>\n"


def _job_page(
    one: _Drawn,
    evidence: _Evidence,
    findings: Sequence[Finding],
    *,
    with_photos: bool,
    draws: bool,
) -> str:
    job = one.job_id
    verdict = evidence.verdicts.get(job)
    return "".join(
        [
            _head(one.name),
            '<nav><a href="../index.html">All drawn jobs</a></nav>'
            f"<p>{escape(one.company)}, drawn as number {one.order}. Times are by the service’s "
            "clock; what a phone’s clock said stands in the lists.</p>",
            "<h2>Findings</h2>",
            "".join(_finding(finding) for finding in findings) or "<p>Not read yet.</p>",
            _verdict(verdict, draws=draws) if verdict else "",
            "<h2>Certificates</h2>",
            "".join(_certificate(row) for row in evidence.certificates[job]) or "<p>None.</p>",
            "<h2>Photos</h2>",
            _photos(evidence.photos[job]) if with_photos else "<p>Left out of this pack.</p>",
            "<h2>Depths</h2>",
            _readings(evidence.readings[job], evidence.again),
            "<h2>Checks before the start</h2>",
            "".join(_check(check) for check in evidence.checks[job]) or "<p>None.</p>",
            "</body></html>\n",
        ]
    )


def _head(title: str) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}'
        f'</title><meta name="viewport" content="width=device-width"><style>{STYLE}</style>'
        f"</head><body><h1>{escape(title)}</h1>"
    )


def _finding(finding: Finding) -> str:
    about = f", on {escape(finding.concerns.replace(':', ' '))}" if finding.concerns else ""
    said = [
        f"<p><strong>{finding.get_severity_display()}</strong> "
        f"<span class=soft>{_moment(finding.found_at)}{about}</span> {escape(finding.text)}</p>"
    ]
    for answer in finding.answers.all():
        said.append(f"<p>Company, {_moment(answer.answered_at)}: {escape(answer.text)}</p>")
        reply = getattr(answer, "reply", None)
        if reply is not None:
            word = "accepted" if reply.accepted else "not accepted"
            said.append(
                f"<p>Auditor, {_moment(reply.replied_at)}, {word}: {escape(reply.text)}</p>"
            )
    return "".join(said)


def _verdict(verdict: Assessment, *, draws: bool) -> str:
    arithmetic = verdict.arithmetic
    steps = [*(arithmetic.get("depths") or {}).get("steps", ()), *arithmetic.get("checks", ())]
    lines = "".join(
        f"<tr><td>{escape(str(step['label']))}<td>{escape(str(step['expression']))}"
        f"<td>{escape(_value(step))}<td>{'' if step['passed'] else 'not met'}</tr>"
        for step in steps
    )
    return (
        f"<h2>Verdict: {escape(str(verdict.get_verdict_display()))}</h2>"
        f"<p class=soft>Assessment {verdict.number} of {_moment(verdict.made_at)}; "
        f"{escape(str(verdict.rule))}.</p><table><tbody>{lines}</tbody></table>"
        + (_drawing(verdict) if draws else "")
    )


def _value(step: dict[str, Any]) -> str:
    value = step["value"]
    if step["kind"] in YES_OR_NO:
        return "yes" if value else "no"
    shown = f"{round(value, 1):g}" if isinstance(value, float) else str(value)
    return f"{shown} {step.get('unit') or ''}".strip()


def _drawing(verdict: Assessment) -> str:
    if not verdict.inputs.get("loft"):
        return ""
    try:
        return draw_assessment(verdict)
    except (ValueError, KeyError):  # a loft as it was stored long ago
        return ""


def _certificate(row: Certificate) -> str:
    state = "valid" if row.is_current else f"withdrawn: {escape(row.withdrawal.reason.rstrip('.'))}"
    return (
        f'<p><a href="../../certificates/{escape(row.code)}.pdf">{escape(row.code)}</a>, '
        f"issued {_moment(row.issued_at)}, {state}.</p>"
    )


def _photos(photos: Sequence[Photo]) -> str:
    parts = []
    for photo in sorted(photos, key=lambda p: (p.point_label, MOMENTS.index(p.moment), p.pk)):
        words = f"{photo.point_label} {photo.get_moment_display()}".strip()
        taken = photo.corrected_at or photo.received_at
        link = f"../../photos/{photo.sha256}"
        parts.append(
            f'<figure><a href="{link}"><img src="{link}" loading="lazy" alt="{escape(words)}"></a>'
            f"<figcaption>{escape(words)}<br><span class=soft>{_moment(taken)}, photo {photo.pk}"
            "</span></figcaption></figure>"
        )
    return "".join(parts) or "<p>None.</p>"


def _readings(readings: Sequence[tuple[Any, ...]], again: Mapping[int, float]) -> str:
    rows = "".join(
        f"<tr><td>{number}<td>{escape(area)}<td>{x:.0f}, {y:.0f}<td>{depth:g}"
        f"<td>{f'{again[number]:g}' if number in again else ''}"
        f"<td>{WHERE[allowance]}<td>{escape(crew)}</tr>"
        for _, number, area, x, y, depth, allowance, crew in readings
    )
    return (
        "<table><thead><tr><th scope=col>Reading<th scope=col>Area<th scope=col>x, y in mm"
        "<th scope=col>Depth, mm<th scope=col>Auditor, mm<th scope=col>Where<th scope=col>Crew"
        f"</tr></thead><tbody>{rows}</tbody></table>"
    )


def _check(check: tuple[Any, ...]) -> str:
    _, checked_at, safe_to_start, given, crew = check
    answers = "; ".join(
        f"{escape(ASKED.get(code, code))}: {escape(str(answer))}" for code, answer in given.items()
    )
    safe = "safe to start" if safe_to_start else "NOT safe to start"
    return f"<p>{_moment(checked_at)}, {escape(crew)}, {safe}. {answers}.</p>"


def _moment(when: Any) -> str:
    local = timezone.localtime(when)
    return f"{local.day} {local:%b %Y, %H:%M}"
