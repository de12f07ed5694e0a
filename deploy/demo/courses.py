"""What happened to each invented job, and when: ten weeks back from today, two weeks ahead."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

LONDON = ZoneInfo("Europe/London")
WEEKS_BACK = 10
DAYS_AHEAD = 14
SURVEYS_A_DAY = 8
DAY_STARTS, DAY_ENDS = time(8, 0), time(16, 30)
DRIVE = timedelta(minutes=30)
CALL_BACK_HOURS = 2.0
SURVEY_TO_FITTING = timedelta(days=6)
LEFT_TO_QUANTIFY = 4
PUT_RIGHT_EVERY = 14
NEVER_PUT_RIGHT = (2, 5)
"""Which fitted jobs, in order, fell short so long ago that putting them right is late."""


class Fate(StrEnum):
    """How a fitting visit turned out."""

    GOOD = "good"
    SHORT = "short"
    PUT_RIGHT = "put_right"
    FEW_READINGS = "few_readings"
    NO_AFTER_PHOTOS = "no_after_photos"
    NO_HANDOVER_YET = "no_handover_yet"


@dataclass(slots=True)
class Course:
    """The life of one job so far. Times are aware; None: it has not come to that."""

    number: int
    crew: str = ""
    surveyed_at: datetime | None = None
    survey_booked_for: datetime | None = None
    fitting: tuple[datetime, datetime] | None = None
    fate: Fate | None = None
    call_back: tuple[datetime, datetime] | None = None
    called_off: str = ""
    notes: list[str] = field(default_factory=list)


def working_days(first: date, last: date) -> list[date]:
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    return [day for day in days if day.weekday() < 5]


def at(day: date, moment: time) -> datetime:
    return datetime.combine(day, moment, LONDON)


class CrewDiary:
    """The next free time of a crew: visits one after another, half an hour's drive between."""

    def __init__(self, days: list[date]) -> None:
        self._days = iter(days)
        self._free: datetime | None = None
        self._next_day()

    def _next_day(self) -> None:
        day = next(self._days, None)
        self._free = None if day is None else at(day, DAY_STARTS)

    @property
    def free_from(self) -> datetime | None:
        return self._free

    def take(
        self, hours: float, not_before: date | None = None
    ) -> tuple[datetime, datetime] | None:
        """The next stretch of `hours` (to the next quarter), or None past the last day."""
        length = timedelta(minutes=15 * math.ceil(hours * 4))
        while not_before and self._free is not None and self._free.date() < not_before:
            self._next_day()
        while self._free is not None:
            ends = self._free + length
            latest = at(self._free.date(), DAY_ENDS) + timedelta(minutes=30)
            if ends <= latest or self._free.time() == DAY_STARTS:
                starts, self._free = self._free, ends + DRIVE
                if self._free > latest:
                    self._next_day()
                return starts, ends
            self._next_day()
        return None


def survey_slots(first: date, last: date) -> list[datetime]:
    """Times of survey visits, one an hour on every working day."""
    return [
        at(day, DAY_STARTS) + timedelta(hours=n)
        for day in working_days(first, last)
        for n in range(SURVEYS_A_DAY)
    ]


def past_survey_times(count: int, now: datetime) -> list[datetime]:
    """Times of `count` surveys that are over by `now`, spread over all ten weeks."""
    slots = survey_slots(now.date() - timedelta(weeks=WEEKS_BACK), now.date())
    over = [slot for slot in slots if slot < now - timedelta(hours=2)]
    return [over[nth * len(over) // count] for nth in range(count)]


def coming_survey_times(count: int, now: datetime) -> list[datetime]:
    """Times of the next `count` booked surveys, with gaps as a real diary has them."""
    slots = survey_slots(now.date(), now.date() + timedelta(days=DAYS_AHEAD))
    return [slot for slot in slots if slot > now and slot.hour != 12][: count * 2 : 2]


def plan_courses(
    crews: dict[int, str], hours: dict[int, float], surveyed: list[int], now: datetime, seed: int
) -> dict[int, Course]:
    """Courses of the surveyed jobs. crews, hours: each job's crew and its crew-hours.

    Visits are put in each crew's diary in the order of the surveys, six days or more after
    each. What falls after the last day of the diary is still to plan.
    """
    chance = random.Random(seed)
    today = now.date()
    courses = {
        number: Course(number, crews[number], surveyed_at=when)
        for number, when in zip(surveyed, past_survey_times(len(surveyed), now), strict=True)
    }
    first = today - timedelta(weeks=WEEKS_BACK) + timedelta(days=9)
    days = working_days(first, today + timedelta(days=DAYS_AHEAD))
    diaries = {crew: CrewDiary(days) for crew in sorted(set(crews.values()))}
    to_put_right: dict[str, list[Course]] = {crew: [] for crew in diaries}
    fitted = 0
    for number in surveyed:
        course = courses[number]
        diary = diaries[course.crew]
        _call_back_first(diary, to_put_right[course.crew])
        if chance.random() < 0.025:
            course.called_off = chance.choice(
                ("Householder moved away", "Loft is to be converted", "Declined after the survey")
            )
            continue
        recent = number >= surveyed[-max(1, len(surveyed) // 6)]
        if number in surveyed[-LEFT_TO_QUANTIFY:] or (recent and number % 2):
            continue
        surveyed_on = course.surveyed_at.date() if course.surveyed_at else first
        course.fitting = diary.take(hours[number], surveyed_on + SURVEY_TO_FITTING)
        if course.fitting is not None and course.fitting[1] < now - timedelta(minutes=30):
            fitted += 1
            course.fate = _fate(chance, now - course.fitting[1])
            if fitted in NEVER_PUT_RIGHT:
                course.fate = Fate.SHORT
            elif fitted % PUT_RIGHT_EVERY == 0 and now - course.fitting[1] > timedelta(weeks=2):
                course.fate = Fate.PUT_RIGHT
            if course.fate is Fate.PUT_RIGHT:
                to_put_right[course.crew].append(course)
    return courses


def _call_back_first(diary: CrewDiary, waiting: list[Course]) -> None:
    """A call-back goes in once a week has passed since the fitting fell short."""
    if not waiting or waiting[0].fitting is None or diary.free_from is None:
        return
    if diary.free_from - waiting[0].fitting[1] >= timedelta(days=7):
        waiting.pop(0).call_back = diary.take(CALL_BACK_HOURS)


def _fate(chance: random.Random, age: timedelta) -> Fate:
    """Old troubles were put right; new ones are still about."""
    if age > timedelta(weeks=4):
        weights = {Fate.GOOD: 90, Fate.PUT_RIGHT: 8, Fate.SHORT: 2}
    else:
        weights = {
            Fate.GOOD: 66,
            Fate.SHORT: 12,
            Fate.PUT_RIGHT: 6,
            Fate.FEW_READINGS: 6,
            Fate.NO_AFTER_PHOTOS: 5,
            Fate.NO_HANDOVER_YET: 5,
        }
    return chance.choices(list(weights), weights=list(weights.values()))[0]
