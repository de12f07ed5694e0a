"""What happened on the site of a drawn job, in the order of its times, for the auditor to read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby

from compliance.pages.audit_readings import ShownReading
from compliance.pages.audit_sheet_parts import photos_of
from jobs.evidence.clock import ToldTime, told_time
from jobs.evidence.photo_facts import metres, photo_facts
from jobs.models import Arrival, Handover, Job, Leave, Photo, PreStartCheck
from jobs.pages.compare import ComparedPoint, Comparison
from jobs.pages.on_site_parts import ShownPhoto

SHOWN_ONE_BY_ONE = 3
"""Times of so many readings of a visit are told one by one; of more, the first and the last."""
FOLDED_FROM = 4
"""Times of fewer quiet photos one after the other are told one by one."""
WORDS_OF_KIND = {
    "arrival": "Crew arrived",
    "check": "Pre-start check",
    "handover": "Handover signed",
    "leave": "Crew left",
}


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened on site: when by which clock, where, and what speaks against it.

    away_m: of a photo, from the home [m]; None where that is not known.
    """

    key: str
    what: str
    told: ToldTime
    zone: str = ""
    place: str = ""
    warnings: tuple[str, ...] = ()
    away_m: float | None = None

    @property
    def at(self) -> datetime:
        return self.told.at

    @property
    def is_quiet(self) -> bool:
        """A photo that nothing speaks against."""
        return self.key.startswith("time:photo:") and not self.warnings


@dataclass(frozen=True, slots=True)
class TimeRow:
    """A line of the times: one event, or several photos one after the other that nothing speaks
    against, which are told as one until they are asked for."""

    events: tuple[Event, ...]

    @property
    def event(self) -> Event:
        return self.events[0]

    @property
    def is_folded(self) -> bool:
        return len(self.events) > 1

    @property
    def last(self) -> Event:
        return self.events[-1]

    @property
    def place(self) -> str:
        """How far away the farthest was, and how many do not tell."""
        away = [event.away_m for event in self.events if event.away_m is not None]
        silent = len(self.events) - len(away)
        told = [f"{metres(max(away))} from the home at most"] if away else []
        return "; ".join(told + ([f"{silent} tell no place"] if silent else []))


def events_of(
    job: Job, comparison: Comparison | None, readings: Sequence[ShownReading]
) -> tuple[Event, ...]:
    """In the order in which they happened, by our clock."""
    return tuple(sorted(_events(job, comparison, readings), key=lambda event: event.at))


def rows_of(events: Iterable[Event]) -> tuple[TimeRow, ...]:
    """The same as lines: at least so many quiet photos one after the other are one."""
    rows: list[TimeRow] = []
    for is_quiet, found in groupby(events, key=lambda event: event.is_quiet):
        run = tuple(found)
        folded = is_quiet and len(run) >= FOLDED_FROM
        rows += [TimeRow(run)] if folded else [TimeRow((event,)) for event in run]
    return tuple(rows)


def _events(
    job: Job, comparison: Comparison | None, readings: Sequence[ShownReading]
) -> Iterator[Event]:
    for point in comparison.points if comparison else ():
        for photo in photos_of(point):
            yield _photo_event(job, point, photo)
    yield from _reading_events(readings)
    for kind, model, field in (
        ("arrival", Arrival, "arrived_at"),
        ("check", PreStartCheck, "checked_at"),
        ("handover", Handover, "signed_at"),
        ("leave", Leave, "left_at"),
    ):
        for row in model.objects.filter(visit__job=job, replaced_by__isnull=True):  # type: ignore[attr-defined]
            told = told_time(row, field)
            yield Event(f"{kind}:{row.pk}", WORDS_OF_KIND[kind], told, warnings=_doubt(told))


def _reading_events(readings: Sequence[ShownReading]) -> Iterator[Event]:
    """Of each visit the first reading, the last, and any whose time is in doubt."""
    by_visit: dict[int, list[Event]] = {}
    for shown in readings:
        told = told_time(shown.reading, "measured_at")
        event = Event(f"time:{shown.key}", f"Reading of {shown.words}", told, warnings=_doubt(told))
        by_visit.setdefault(shown.reading.visit_id, []).append(event)
    for events in by_visit.values():
        events.sort(key=lambda event: event.at)
        if len(events) <= SHOWN_ONE_BY_ONE:
            yield from events
            continue
        for word, event in (("First", events[0]), ("Last", events[-1])):
            yield replace(event, what=f"{word} of {len(events)} readings")
        yield from (event for event in events[1:-1] if event.warnings)


def _photo_event(job: Job, point: ComparedPoint, shown: ShownPhoto) -> Event:
    facts = photo_facts(shown.photo, shown.inspection, job.property)
    photo: Photo = shown.photo
    return Event(
        f"time:photo:{photo.pk}",
        f"{photo.get_moment_display()} photo, {point.name}",
        facts.taken.told,
        facts.taken.zone,
        facts.place,
        (*shown.warnings, *_doubt(facts.taken.told)),
        facts.away_m,
    )


def _doubt(told: ToldTime) -> tuple[str, ...]:
    return (told.doubt,) if told.doubt else ()
