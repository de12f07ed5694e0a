"""Depth readings: measured at a place of the loft, corrected by a new row with its reason."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID, uuid4

from shapely import Point

from calculations.loft import Loft
from jobs.announce import evidence_changed
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.clock import clock_columns
from jobs.evidence.receiving import lock_visit, received_before, require_fitting, require_status
from jobs.lofts import loft_of
from jobs.models import DepthReading, Job, LoftArea, Stage, User, Visit
from jobs.surveying.quantities import current_survey

GREATEST_DEPTH_MM = 1500.0
EDGE_TOLERANCE_MM = 150.0
"""A finger on a small drawing misses by so much; the engine forgives the same."""
MOST_ROWS = 500
CLOSED_STAGES = (Stage.CERTIFIED, Stage.CALLED_OFF)


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading as it comes in. Positions and depth in millimetres.

    area: the area's name; empty to take the area that the point lies in. replaces: the id of
    the reading that this one corrects, with `correction_reason`. phone_sent_at: the phone's
    clock when it was sent.
    """

    x_mm: float
    y_mm: float
    depth_mm: float
    measured_at: datetime
    area: str = ""
    allowance: str = ""
    replaces: int | None = None
    correction_reason: str = ""
    client_key: UUID = field(default_factory=uuid4)
    phone_sent_at: datetime | None = None


def record_readings(visit: Visit, rows: Sequence[ReadingRow], by: User) -> list[DepthReading]:
    """Keep all rows or none; a row whose `client_key` is known gives the reading stored then.

    Raises:
        Refused: a row can't be; `field` names it, such as `readings[2].depth_mm`.
        Conflict: work has not begun, the job is over, or a reading was corrected already.
    """
    if not rows:
        raise Refused("No reading was sent.", field="readings", remedy="Send at least one.")
    if len(rows) > MOST_ROWS:
        raise Refused(
            f"{len(rows)} readings are too many at once.",
            field="readings",
            remedy=f"Send {MOST_ROWS} at most.",
        )
    with refusals_explained():
        visit = lock_visit(visit)
        known = [received_before(DepthReading, visit, row.client_key) for row in rows]
        if all(known):
            return [reading for reading in known if reading is not None]
        floor = _floor_of(visit)
        stored = [
            earlier or _store(visit, floor, index, row, by)
            for index, (row, earlier) in enumerate(zip(rows, known, strict=True))
        ]
        evidence_changed.send(Job, job=visit.job)
    return stored


@dataclass(frozen=True, slots=True)
class _Floor:
    """The loft of the survey, and its areas' rows by name."""

    loft: Loft
    areas: dict[str, LoftArea]


def _floor_of(visit: Visit) -> _Floor:
    require_fitting(visit)
    require_status(
        visit,
        Visit.Status.ON_SITE,
        Visit.Status.DONE,
        Visit.Status.STOPPED,
        remedy="Do the pre-start check first.",
    )
    if visit.job.stage in CLOSED_STAGES:
        raise Conflict(
            f"{visit.job.reference} is “{visit.job.get_stage_display().lower()}”.",
            field="visit",
            remedy="A compliance officer withdraws the certificate before it is measured again.",
        )
    survey = current_survey(visit.job)
    if survey is None:
        raise Conflict(
            "This job has no complete survey to place readings on.",
            field="visit",
            remedy="Ask the office to complete the survey.",
        )
    return _Floor(loft_of(survey), {area.name: area for area in survey.areas.all()})


def _store(visit: Visit, floor: _Floor, index: int, row: ReadingRow, by: User) -> DepthReading:
    path = f"readings[{index}]"
    _check_numbers(path, row)
    return DepthReading.objects.create(
        visit=visit,
        area=_area_of(path, floor, row),
        x_mm=row.x_mm,
        y_mm=row.y_mm,
        depth_mm=row.depth_mm,
        allowance=row.allowance,
        measured_by=by,
        measured_at=row.measured_at,
        client_key=row.client_key,
        replaces=_corrected(path, visit, row),
        correction_reason=row.correction_reason.strip(),
        **clock_columns(row.phone_sent_at, phone_at=row.measured_at),
    )


def _check_numbers(path: str, row: ReadingRow) -> None:
    for name in ("x_mm", "y_mm", "depth_mm"):
        if not math.isfinite(getattr(row, name)):
            raise Refused("It is not a number.", field=f"{path}.{name}", remedy="Give millimetres.")
    if not 0 <= row.depth_mm <= GREATEST_DEPTH_MM:
        raise Refused(
            f"{row.depth_mm:g} mm can't be a depth.",
            field=f"{path}.depth_mm",
            remedy=f"Give millimetres from 0 to {GREATEST_DEPTH_MM:g}: 27 cm is 270.",
        )
    if row.allowance not in DepthReading.Allowance.values:
        raise Refused(
            f"There is no allowance {row.allowance!r}.",
            field=f"{path}.allowance",
            remedy="Leave it empty, or give eaves, tank or deck.",
        )
    if len(row.correction_reason.strip()) > 200:
        raise Refused(
            "The reason is too long.",
            field=f"{path}.correction_reason",
            remedy="Use 200 characters at most.",
        )


def _area_of(path: str, floor: _Floor, row: ReadingRow) -> LoftArea:
    point = Point(row.x_mm, row.y_mm)
    away = {area.name: area.floor().distance(point) for area in floor.loft.areas}
    if row.area and row.area not in away:
        raise Refused(
            f"This loft has no area “{row.area}”.",
            field=f"{path}.area",
            remedy=f"Name one of: {', '.join(away)}.",
        )
    name = row.area or min(away, key=lambda each: away[each])
    if away[name] > EDGE_TOLERANCE_MM:
        where = f"x {row.x_mm / 1000:.2f} m, y {row.y_mm / 1000:.2f} m"
        raise Refused(
            f"{where} does not lie in {f'“{row.area}”' if row.area else 'the loft'}.",
            field=f"{path}.x_mm",
            remedy="Touch the place on the drawing again.",
        )
    return floor.areas[name]


def _corrected(path: str, visit: Visit, row: ReadingRow) -> DepthReading | None:
    if row.replaces is None:
        return None
    reading: DepthReading | None = DepthReading.objects.filter(
        visit__job_id=visit.job_id, pk=row.replaces
    ).first()
    if reading is None:
        raise Refused(
            "The reading to correct is not one of this job.",
            field=f"{path}.replaces",
            remedy="Give the id of one of its readings.",
        )
    if not row.correction_reason.strip():
        raise Refused(
            "A correction needs its reason.",
            field=f"{path}.correction_reason",
            remedy="Say why, such as “typed 27 instead of 270”.",
        )
    if hasattr(reading, "replaced_by"):
        raise Conflict(
            "This reading was corrected before.",
            field=f"{path}.replaces",
            remedy="Correct the newer one instead.",
        )
    return reading
