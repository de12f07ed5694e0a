"""Findings with their exchange, as the pages of auditor and company show them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.urls import reverse

from compliance.audits.answers import Standing, standing_of, with_standing
from compliance.audits.things import words_of
from compliance.models import AnswerEvidence, Finding, FindingAnswer
from jobs.models import DepthReading, Job, Photo

MOST_LISTED = 120


@dataclass(frozen=True, slots=True)
class ShownEvidence:
    """What proves an answer: words, where to open it, and the SHA-256 of a file."""

    words: str
    url: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class ToldAnswer:
    answer: FindingAnswer
    evidence: tuple[ShownEvidence, ...]
    reply: Any


@dataclass(frozen=True, slots=True)
class ToldFinding:
    """A finding, the thing it is about in words, where it stands, and what was said since."""

    finding: Finding
    about: str
    standing: Standing
    answers: tuple[ToldAnswer, ...]

    @property
    def is_sound(self) -> bool:
        return self.finding.severity == Finding.Severity.SOUND

    @property
    def waits_for_auditor(self) -> bool:
        return self.standing.state == "answered"


def told_findings(rows: Any, job: Job | None = None) -> list[ToldFinding]:
    """Findings with all that was said about each. Three queries, and one for each thing named."""
    found = with_standing(rows).select_related(
        "found_by", "drawn_job__round", "drawn_job__job__property"
    )
    found = found.prefetch_related(
        "answers__answered_by", "answers__evidence", "answers__reply__replied_by"
    )
    return [told_finding(row, job) for row in found]


def told_finding(finding: Any, job: Job | None = None, today: date | None = None) -> ToldFinding:
    """One finding of `with_standing`."""
    job = job or finding.drawn_job.job
    return ToldFinding(
        finding,
        (words_of(job, finding.concerns) or finding.concerns) if finding.concerns else "",
        standing_of(finding, today),
        tuple(_told_answer(job, answer) for answer in finding.answers.all()),
    )


def linkable(job: Job) -> list[tuple[str, str]]:
    """(key, words) of the stored evidence that an answer can name, the newest first."""
    photos = Photo.objects.current().filter(job=job).order_by("-pk")[:MOST_LISTED]
    readings = (
        DepthReading.objects.current().filter(visit__job=job).select_related("area").order_by("-pk")
    )[:MOST_LISTED]
    return [
        *(
            (
                f"photo:{p.pk}",
                f"{p.get_moment_display()} photo {p.point_label or 'at no point'}, "
                f"{p.received_at:%-d %b %Y %H:%M}",
            )
            for p in photos
        ),
        *(
            (
                f"reading:{r.pk}",
                f"Reading of {r.depth_mm:g} mm in {r.area.name}, {r.measured_at:%-d %b %Y %H:%M}",
            )
            for r in readings
        ),
    ]


def _told_answer(job: Job, answer: FindingAnswer) -> ToldAnswer:
    evidence = tuple(_shown(job, row) for row in answer.evidence.all())  # type: ignore[attr-defined]
    return ToldAnswer(answer, evidence, getattr(answer, "reply", None))


def _shown(job: Job, row: AnswerEvidence) -> ShownEvidence:
    if row.sha256:
        kind = "Document" if row.media_type == "application/pdf" else "Photo"
        words = f"{kind}, {row.size_bytes / 1000:,.0f} kB"
        return ShownEvidence(words, reverse("answer_file", args=[row.pk]), row.sha256)
    kind, _, name = row.concerns.partition(":")
    url = reverse("photo", args=[int(name), "original"]) if kind == "photo" else ""
    return ShownEvidence(words_of(job, row.concerns) or row.concerns, url)
