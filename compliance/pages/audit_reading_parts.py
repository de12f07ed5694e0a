"""What the page of a drawn job shows: everything an auditor reads of it, in a few queries.

Whatever a finding can be about has a key (`compliance.audits.things`), so that a person can point
at it with the keyboard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from calculations.drawing import PhotoPoint, draw_evidence
from calculations.loft import Loft
from compliance.assess import latest_assessment
from compliance.audits.things import WHOLE_JOB
from compliance.models import Assessment, Certificate, DrawnJob
from compliance.pages.audit_readings import ShownReading, readings_of
from compliance.pages.audit_sheet_parts import (
    MachineCheck,
    SheetGroup,
    SheetPair,
    groups_of,
    machine_checks,
    photos_of,
    sheet_of,
)
from compliance.pages.audit_times import Event, TimeRow, events_of, rows_of
from compliance.pages.verdict_parts import VerdictShown, show_verdict
from jobs.evidence.site_record import engine_reading
from jobs.history import Happening, history_of
from jobs.lofts import loft_of
from jobs.models import Job, Photo, User
from jobs.pages.compare import Comparison, comparison_of
from jobs.pages.evidence_story import checks_section
from jobs.pages.on_site_parts import ShownPhoto
from jobs.surveying.quantities import current_survey


@dataclass(frozen=True, slots=True)
class ShownCertificate:
    certificate: Certificate

    @property
    def key(self) -> str:
        return f"certificate:{self.certificate.pk}"


@dataclass(frozen=True, slots=True)
class JobPage:
    """One drawn job as it is read. svg: the plan with readings and photo points."""

    verdict: VerdictShown | None
    assessments: Sequence[Assessment]
    certificates: tuple[ShownCertificate, ...]
    svg: str
    readings: tuple[ShownReading, ...]
    sheet: tuple[SheetPair, ...]
    machine: tuple[MachineCheck, ...]
    events: tuple[Event, ...]
    checks: dict[str, Any] | None
    history: Sequence[Happening]

    @property
    def verdict_key(self) -> str:
        return f"verdict:{self.verdict.assessment.pk}" if self.verdict else ""

    @property
    def asked_mm(self) -> float | None:
        return self.verdict.assessment.rule.min_depth_mm if self.verdict else None

    @property
    def in_order(self) -> tuple[MachineCheck, ...]:
        return tuple(check for check in self.machine if check.is_fine)

    @property
    def to_look_at(self) -> tuple[MachineCheck, ...]:
        """What is not fine, and is not told once more at the pairs."""
        return tuple(c for c in self.machine if not c.is_fine and not c.told_at_pairs)

    @property
    def told_at_pairs(self) -> tuple[MachineCheck, ...]:
        return tuple(check for check in self.machine if not check.is_fine and check.told_at_pairs)

    @property
    def groups(self) -> tuple[SheetGroup, ...]:
        return groups_of(self.sheet)

    @property
    def spoken_against(self) -> int:
        return sum(bool(pair.reasons) for pair in self.sheet)

    @property
    def times(self) -> tuple[TimeRow, ...]:
        return rows_of(self.events)

    @property
    def warned(self) -> int:
        return sum(bool(event.warnings) for event in self.events)

    @property
    def photo_count(self) -> int:
        return sum(event.key.startswith("time:photo:") for event in self.events)

    def things(self) -> Iterator[tuple[str, str]]:
        """(key, words) of all that a finding can be about, in the order of the page."""
        yield "", WHOLE_JOB
        if self.verdict is not None:
            yield self.verdict_key, "The verdict"
        for paper in self.certificates:
            yield paper.key, f"Certificate {paper.certificate.code}"
        for shown in self.readings:
            yield shown.key, f"Reading {shown.words}"
        for pair in self.sheet:
            point = pair.point
            yield f"pair:{point.label}", f"Pair {point.name}"
            for photo in photos_of(point):
                yield f"photo:{photo.photo.pk}", f"{photo.photo.get_moment_display()} {point.name}"
        for event in self.events:
            yield event.key, f"Time: {event.what}"


def job_page(drawn: DrawnJob, user: User, point: str | None = None) -> JobPage:
    """All that is shown of a drawn job. point: the photo point framed in the drawing."""
    job = drawn.job
    comparison = comparison_of(job, point)
    assessments = list(Assessment.objects.filter(job=job).select_related("rule"))
    newest = latest_assessment(job) if assessments else None
    asked_mm = newest.rule.min_depth_mm if newest else None
    readings = readings_of(job, asked_mm)
    counted = [shown for shown in readings if shown.stands]
    below = [shown.reading for shown in counted if shown.state == "below"]
    verdict = show_verdict(newest) if newest else None
    elsewhere = _alike_elsewhere(comparison, user)
    sheet = sheet_of(comparison, [shown.reading for shown in counted], below, elsewhere)
    return JobPage(
        verdict=verdict,
        assessments=assessments,
        certificates=tuple(ShownCertificate(row) for row in job.certificates.with_place()),  # type: ignore[attr-defined]
        svg=_drawing(job, comparison, readings, asked_mm, point),
        readings=readings,
        sheet=sheet,
        machine=machine_checks(verdict, sheet),
        events=events_of(job, comparison, readings),
        checks=checks_section(job, user),
        history=history_of(job),
    )


def _alike_elsewhere(comparison: Comparison | None, user: User) -> dict[int, ShownPhoto]:
    """Photos of other jobs that photos of this one look the same as, where the reader may see
    them; no query where there are none."""
    shown = (
        [photo for point in comparison.points for photo in photos_of(point)] if comparison else []
    )
    wanted = {key for photo in shown for key in photo.resembled}
    wanted -= {photo.photo.pk for photo in shown}
    if not wanted:
        return {}
    rows = Photo.objects.visible_to(user).filter(pk__in=wanted).prefetch_related("inspections")
    return {photo.pk: ShownPhoto.of(photo) for photo in rows}


def _drawing(
    job: Job,
    comparison: Comparison | None,
    readings: Sequence[ShownReading],
    asked_mm: float | None,
    point: str | None,
) -> str:
    loft, places = _loft(job, comparison)
    if loft is None:
        return ""
    names = {area.name for area in loft.areas}
    here = [
        engine_reading(shown.reading)
        for shown in readings
        if shown.stands and shown.reading.area.name in names
    ]
    return draw_evidence(loft, here, places, asked_mm, highlight=point or "")


def _loft(job: Job, comparison: Comparison | None) -> tuple[Loft | None, tuple[PhotoPoint, ...]]:
    """The loft of the current survey, and those of its photo points that have photos."""
    if comparison is None:
        survey = current_survey(job)
        return (loft_of(survey) if survey else None), ()
    taken = {point.label for point in comparison.points}
    return comparison.loft, tuple(p for p in comparison.places if p.label in taken)
