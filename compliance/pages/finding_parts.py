"""Findings with their exchange, as the pages of auditor and company show them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils import timezone

from compliance.audits.answer_photos import PAGES, is_looked_at, is_picture
from compliance.audits.answers import Standing, days_in_words, standing_of, with_standing
from compliance.audits.things import words_of
from compliance.models import AnswerEvidence, AnswerInspection, Finding, FindingAnswer
from jobs.evidence.exif import ASSUMED
from jobs.models import DepthReading, Job, Photo

MOST_LISTED = 120
WITH_ANSWERS = (
    "answers__answered_by",
    "answers__evidence__inspections",
    "answers__reply__replied_by",
)


@dataclass(frozen=True, slots=True)
class ShownWarning:
    """What speaks against a picture. url: the stored photo it is like, where that may be seen."""

    text: str
    url: str = ""


@dataclass(frozen=True, slots=True)
class ShownEvidence:
    """What proves an answer: words, where to open it, and the SHA-256 of a file.

    Of a picture also a small copy, one to look at, what its EXIF and its looks say, and whether
    it waits to be looked at.
    """

    words: str
    url: str
    sha256: str = ""
    thumb_url: str = ""
    display_url: str = ""
    taken: str = ""
    warnings: tuple[ShownWarning, ...] = ()
    waits: bool = False


@dataclass(frozen=True, slots=True)
class ToldAnswer:
    """late: such as "2 days late"; empty where it came in time."""

    answer: FindingAnswer
    evidence: tuple[ShownEvidence, ...]
    reply: Any
    late: str = ""


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
    found = found.prefetch_related(*WITH_ANSWERS)
    return [told_finding(row, job) for row in found]


def told_finding(finding: Any, job: Job | None = None, today: date | None = None) -> ToldFinding:
    """One finding of `with_standing`."""
    job = job or finding.drawn_job.job
    return ToldFinding(
        finding,
        (words_of(job, finding.concerns) or finding.concerns) if finding.concerns else "",
        standing_of(finding, today),
        tuple(_told_answers(job, finding)),
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


def _told_answers(job: Job, finding: Any) -> Iterator[ToldAnswer]:
    """In turn, each against the day it was due: the finding's, then that of the word before it."""
    due_on = finding.answer_due_on
    for answer in finding.answers.all():
        reply = getattr(answer, "reply", None)
        evidence = tuple(_shown(job, row) for row in answer.evidence.all())
        left = (due_on - timezone.localdate(answer.answered_at)).days if due_on else 0
        yield ToldAnswer(answer, evidence, reply, days_in_words(left) if left < 0 else "")
        due_on = reply.answer_due_on if reply is not None else due_on


def _shown(job: Job, row: AnswerEvidence) -> ShownEvidence:
    if row.sha256:
        return _shown_file(job, row)
    kind, _, name = row.concerns.partition(":")
    url = reverse("photo", args=[int(name), "original"]) if kind == "photo" else ""
    return ShownEvidence(words_of(job, row.concerns) or row.concerns, url)


def _shown_file(job: Job, row: AnswerEvidence) -> ShownEvidence:
    kind = "Photo" if is_picture(row) else "Document"
    words = f"{kind}, {row.size_bytes / 1000:,.0f} kB"
    url = reverse("answer_file", args=[row.pk])
    looked_at = list(row.inspections.all())[-1:]  # type: ignore[attr-defined]
    if not looked_at:
        return ShownEvidence(words, url, row.sha256, waits=is_looked_at(row))
    inspection = looked_at[0]
    told = [said["text"] for said in inspection.warnings if said["code"] == PAGES]
    return ShownEvidence(
        ", ".join([words, *told]),
        url,
        row.sha256,
        thumb_url=_copy(row, "thumb") if inspection.thumb_name else "",
        display_url=_copy(row, "display") if inspection.display_name else "",
        taken=_taken(inspection),
        warnings=tuple(
            _warning(job, said) for said in inspection.warnings if said["code"] != PAGES
        ),
    )


def _copy(row: AnswerEvidence, size: str) -> str:
    return reverse("answer_picture", args=[row.pk, size])


def _taken(inspection: AnswerInspection) -> str:
    """When and with what, as the file says."""
    said = []
    if inspection.exif_taken_at is not None:
        zone = ", zone assumed" if inspection.exif_time_source == ASSUMED else ""
        said.append(f"{timezone.localtime(inspection.exif_taken_at):%-d %b %Y %H:%M} (EXIF{zone})")
    if inspection.device:
        said.append(inspection.device)
    return ", ".join(said)


def _warning(job: Job, said: dict[str, Any]) -> ShownWarning:
    """The other photo is led to if it is of this job: who reads the finding may see it."""
    photo = Photo.objects.filter(pk=said.get("photo"), job=job).first() if "photo" in said else None
    url = reverse("photo", args=[photo.pk, "display"]) if photo else ""
    return ShownWarning(said["text"], url)
