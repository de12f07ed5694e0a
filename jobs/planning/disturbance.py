"""What came between: whose days were disturbed, so that an answer can be about that alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from jobs.models import Visit


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A crew (its id) whose days from `first_day` to `last_day` are not as they were."""

    crew: int
    first_day: date
    last_day: date

    def __post_init__(self) -> None:
        if self.last_day < self.first_day:
            raise ValueError("last_day is before first_day; give a later one.")

    @classmethod
    def of_visit(cls, visit: Visit) -> Disturbance:
        day = timezone.localtime(visit.during.lower).date()
        return cls(visit.crew_id, day, day)

    def touches(self, visit: Visit) -> bool:
        """Whether a booked visit lies with that crew on those days."""
        day = timezone.localtime(visit.during.lower).date()
        return visit.crew_id == self.crew and self.first_day <= day <= self.last_day

    def as_json(self) -> dict[str, Any]:
        days = {"first_day": self.first_day.isoformat(), "last_day": self.last_day.isoformat()}
        return {"crew": self.crew, **days}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Disturbance:
        first, last = (_day(kept[name]) for name in ("first_day", "last_day"))
        return cls(int(kept["crew"]), first, last)


def _day(given: date | str) -> date:
    return given if isinstance(given, date) else date.fromisoformat(given)
