"""The depth readings of a drawn job, each with how it stands to the depth asked."""

from __future__ import annotations

from dataclasses import dataclass

from calculations.drawing.evidence import reading_state
from compliance.gather import after_last_call_back
from jobs.evidence.site_record import engine_reading
from jobs.models import DepthReading, Job

WORDS_OF_STATE = {
    "enough": "deep enough",
    "below": "below",
    "apart": "apart from the rule",
    "corrected": "corrected later",
    "earlier": "before the call-back",
}


@dataclass(frozen=True, slots=True)
class ShownReading:
    """A depth reading with its key, and how it stands to the depth asked; those that count first.

    state: enough, below or apart; corrected or earlier, where another stands in its stead.
    """

    reading: DepthReading
    state: str

    @property
    def stands(self) -> bool:
        return self.state not in ("corrected", "earlier")

    @property
    def key(self) -> str:
        return f"reading:{self.reading.pk}"

    @property
    def words(self) -> str:
        return f"{self.reading.depth_mm:g} mm in {self.reading.area.name}"

    @property
    def state_words(self) -> str:
        return WORDS_OF_STATE[self.state]


def readings_of(job: Job, asked_mm: float | None) -> tuple[ShownReading, ...]:
    rows = list(
        DepthReading.objects.filter(visit__job=job).select_related(
            "area", "measured_by", "replaced_by", "visit"
        )
    )
    standing = [row for row in rows if not hasattr(row, "replaced_by")]
    counted = {row.pk for row in after_last_call_back(standing)}
    shown = (ShownReading(row, _state(row, counted, asked_mm)) for row in rows)
    return tuple(sorted(shown, key=lambda each: not each.stands))


def _state(row: DepthReading, counted: set[int], asked_mm: float | None) -> str:
    if hasattr(row, "replaced_by"):
        return "corrected"
    return reading_state(engine_reading(row), asked_mm) if row.pk in counted else "earlier"
