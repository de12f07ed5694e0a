"""The auditor measures again on site; how the two agree, in all and by crew.

The pictures and figures are those of Bland and Altman, "Statistical methods for assessing
agreement between two methods of clinical measurement", The Lancet 327 (1986), 307-310.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from calculations.drawing import draw_agreement
from calculations.sampling import Agreement, agreement
from compliance.audits.findings import require_drawn
from compliance.gather import WORK_VISITS, after_last_call_back
from compliance.models import AuditRound, DrawnJob, Remeasurement
from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.evidence.phone_told import Told
from jobs.models import DepthReading, User

LEAST_PAIRS = 2


@dataclass(frozen=True, slots=True)
class Again:
    """One depth [mm] measured again at a reading, by its id.

    x_mm, y_mm: where, None for the reading's own place. measured_at, sent_at: by the phone's
    clock when it was measured and sent, None where it told none.
    """

    reading_id: int
    depth_mm: float
    x_mm: float | None = None
    y_mm: float | None = None
    note: str = ""
    correction_reason: str = ""
    measured_at: datetime | None = None
    sent_at: datetime | None = None
    client_key: UUID | None = None


@dataclass(frozen=True, slots=True)
class CrewAgreement:
    """How the auditor's depths agree with a crew's. found is None for fewer than two pairs."""

    name: str
    pairs: tuple[Remeasurement, ...]
    found: Agreement | None

    @property
    def differences(self) -> list[float]:
        return [row.difference_mm for row in self.pairs]


@dataclass(frozen=True, slots=True)
class RoundAgreement:
    """All pairs of a round together and by crew, and their picture; empty without two pairs."""

    whole: CrewAgreement
    crews: tuple[CrewAgreement, ...]
    svg: str


def readings_to_measure(drawn: DrawnJob) -> list[DepthReading]:
    """The installer's readings that say how deep it lies, in the order they were taken.

    They are those a verdict would rest on: after a call-back, what it measured.
    """
    rows = DepthReading.objects.current().filter(
        visit__job_id=drawn.job_id, visit__kind__in=WORK_VISITS
    )
    return after_last_call_back(rows.select_related("area", "visit__crew").order_by("pk"))


def remeasure(drawn: DrawnJob, by: User, rows: Iterable[Again]) -> list[Remeasurement]:
    """Record depths of one visit of the auditor's, all or none.

    A second depth at the same reading replaces the first and says why. The same `client_key`
    gives the record that is there.

    Raises:
        Refused: a depth or place that cannot be, no such reading, or a correction without reason.
        Conflict: the round is not drawn, or closed.
    """
    require_drawn(drawn)
    readings = {row.pk: row for row in readings_to_measure(drawn)}
    with refusals_explained():
        DrawnJob.objects.select_for_update().get(pk=drawn.pk)
        return [_record(drawn, by, row, readings) for row in rows]


def agreement_of(record: AuditRound) -> RoundAgreement:
    """How the auditor's depths agree with the installers' in a round. One query."""
    rows = list(Remeasurement.objects.current().filter(drawn_job__round=record).with_pairs())
    crew_of, by_crew = crew_names(rows), dict[str, list[Remeasurement]]()
    for row in rows:
        by_crew.setdefault(crew_of(row), []).append(row)
    whole = _crew("All crews", rows)
    return RoundAgreement(
        whole=whole,
        crews=tuple(_crew(name, by_crew[name]) for name in sorted(by_crew)),
        svg=draw_agreement(pairs_mm(rows)) if whole.found else "",
    )


def crew_names(rows: Sequence[Remeasurement]) -> Callable[[Remeasurement], str]:
    """Tells the crew whose reading it is; with its company where crews of several are compared,
    since two companies may have crews of one name."""
    if len({row.reading.visit.crew.company_id for row in rows}) > 1:
        return lambda row: f"{row.reading.visit.crew.company.name}: {row.reading.visit.crew.name}"
    return lambda row: str(row.reading.visit.crew.name)


def pairs_mm(rows: Sequence[Remeasurement]) -> list[tuple[float, float]]:
    """(auditor, installer) depths [mm]."""
    return [(row.depth_mm, row.reading.depth_mm) for row in rows]


def _crew(name: str, rows: Sequence[Remeasurement]) -> CrewAgreement:
    found = agreement(pairs_mm(rows)) if len(rows) >= LEAST_PAIRS else None
    return CrewAgreement(name, tuple(rows), found)


def _record(
    drawn: DrawnJob, by: User, row: Again, readings: dict[int, DepthReading]
) -> Remeasurement:
    known = Remeasurement.objects.filter(client_key=row.client_key).first()
    if row.client_key is not None and known is not None:
        if known.drawn_job_id != drawn.pk:
            raise Conflict("This key came with another job.", field="client_key")
        return known
    reading = readings.get(row.reading_id)
    if reading is None:
        raise Refused(
            "This job has no such reading.",
            field="reading",
            remedy="Choose one of the readings on the drawing.",
        )
    before = _before(drawn, reading)
    if before is not None and not row.correction_reason.strip():
        raise Refused(
            "This reading was measured again already.",
            field="correction_reason",
            remedy="Say why the depth is corrected.",
        )
    made = Remeasurement(
        drawn_job=drawn,
        reading=reading,
        x_mm=reading.x_mm if row.x_mm is None else row.x_mm,
        y_mm=reading.y_mm if row.y_mm is None else row.y_mm,
        depth_mm=row.depth_mm,
        note=row.note.strip(),
        measured_by=by,
        replaces=before,
        correction_reason=row.correction_reason.strip() if before is not None else "",
        **_when(row),
    )
    refuse_invalid(made)
    made.save()
    return made


def _when(row: Again) -> dict[str, Any]:
    key = row.client_key or uuid4()
    if row.measured_at is None:
        return {"client_key": key}
    told = Told(row.measured_at, row.sent_at, key)
    return {"measured_at": row.measured_at, **told.columns}


def _before(drawn: DrawnJob, reading: DepthReading) -> Remeasurement | None:
    rows = Remeasurement.objects.current().filter(drawn_job=drawn, reading=reading)
    found: Remeasurement | None = rows.first()
    return found
