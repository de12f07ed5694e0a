"""Visits of a planning problem: what is booked, what waits, and what cannot be planned at all."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.utils import timezone

from jobs.loading.needs import LoadNeeds, needs_of_jobs
from jobs.models import Crew, Property, VanLoading, Visit, VisitKind, VisitNeed
from jobs.planning.booking_checks import skills_for
from jobs.planning.calendars import at, midnight
from jobs.planning.gather_order import put_in_order
from jobs.planning.plan import Reason
from jobs.planning.problem import Place, Promise, Shift, VisitToPlan, Window
from jobs.planning.weights import Weights

if TYPE_CHECKING:
    from jobs.planning.gather import Frame
    from jobs.planning.gather_depots import Depots

MOST_WAITING = 1500
# Leaving out a visit that is booked, or told to the householder, costs so many times as much as
# one that waits.
BOOKED_FACTOR, TOLD_FACTOR = 8.0, 16.0
LIVE = ("booked", "on_site", "done")


@dataclass(frozen=True, slots=True)
class Left:
    """A need that was not put to the solver, and why."""

    key: str
    need: VisitNeed
    reason: Reason


@dataclass(frozen=True, slots=True)
class VisitsToPlan:
    visits: tuple[VisitToPlan, ...]
    places: tuple[Place, ...]
    booked: Mapping[str, Visit]
    needs: Mapping[str, VisitNeed]
    parts: Mapping[str, tuple[int, ...]]
    left: tuple[Left, ...]
    notes: tuple[str, ...]


def visits_to_plan(
    frame: Frame,
    crews: Sequence[Crew],
    shifts: Mapping[str, Shift],
    depots: Depots,
    overruns: Mapping[int, datetime],
    weights: Weights,
) -> VisitsToPlan:
    """All visits of the days and all that waits, the most urgent first. A dozen queries."""
    collector = Collector(frame, crews, shifts, depots, overruns, weights)
    booked = _booked(frame)
    waiting, later = _waiting(frame)
    collector.load(booked, waiting)
    for visit in booked:
        collector.add_booked(visit)
    for need in waiting:
        collector.add_waiting(need)
    if later:
        collector.notes.append(f"{later} less urgent visits were left for a later plan.")
    return collector.result()


def _booked(frame: Frame) -> list[Visit]:
    """Visits of the days that are not over, with needs and operatives. Six queries."""
    visits = Visit.objects.filter(
        company_id=frame.company_id,
        status__in=("booked", "on_site"),
        during__startswith__gte=frame.starts_at,
        during__startswith__lt=frame.ends_at,
    )
    return list(
        visits.with_job()
        .select_related("need__after")
        .prefetch_related(
            "need__windows",
            "need__barred_crews",
            "need__after__visits",
            "visit_operatives__operative",
        )
        .order_by("during", "id")
    )


def _waiting(frame: Frame) -> tuple[list[VisitNeed], int]:
    """The most urgent needs with a part to book, and how many more there are. Five queries."""
    needs = VisitNeed.objects.filter(company_id=frame.company_id).open()
    needs = needs.order_by("-priority", "due_on", "id")
    total = needs.count()
    found = needs.select_related("job__property", "job__scheme", "after").prefetch_related(
        "windows", "barred_crews", "visits", "after__visits"
    )
    return list(found[:MOST_WAITING]), max(0, total - MOST_WAITING)


@dataclass(slots=True)
class Collector:
    """Turns records into visits to plan, one by one."""

    frame: Frame
    crews: Sequence[Crew]
    shifts: Mapping[str, Shift]
    depots: Depots
    overruns: Mapping[int, datetime]
    weights: Weights
    visits: dict[str, VisitToPlan] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    booked: dict[str, Visit] = field(default_factory=dict)
    needs: dict[str, VisitNeed] = field(default_factory=dict)
    parts: dict[str, tuple[int, ...]] = field(default_factory=dict)
    left: list[Left] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    goods: dict[tuple[int, str], LoadNeeds] = field(default_factory=dict)
    loaded: set[tuple[int, str]] = field(default_factory=set)
    keys_of_need: dict[int, list[str]] = field(default_factory=lambda: defaultdict(list))

    def load(self, booked: Iterable[Visit], waiting: Iterable[VisitNeed]) -> None:
        """What the jobs need on a van, and which vans are loaded already. Few queries."""
        for kind in (VisitKind.FITTING, VisitKind.CALL_BACK):
            jobs = [one.job_id for one in (*booked, *waiting) if one.kind == kind]
            self.goods |= {(pk, kind): needs for pk, needs in needs_of_jobs(jobs, kind).items()}
        loadings = VanLoading.objects.filter(
            crew__company_id=self.frame.company_id, day__in=self.frame.days
        )
        self.loaded = {(crew, str(day)) for crew, day in loadings.values_list("crew_id", "day")}

    # --- Booked visits

    def add_booked(self, visit: Visit) -> None:
        key = f"visit:{visit.pk}"
        day = timezone.localtime(visit.during.lower).date()
        under_way = visit.status == "on_site" or visit.during.lower < self.frame.now
        stays = visit.held or under_way or visit.pk in self.overruns
        shift = self.shifts.get(f"crew:{visit.crew_id}:{day.isoformat()}")
        stays = stays or _position_of(visit.job.property) is None
        stays = stays or self._outside_hours(visit, shift)
        place = self._place(visit.job.property)
        if place is None:
            place = self._stand_in(visit)
        self.booked[key] = visit
        if visit.need_id is not None:
            self.keys_of_need[visit.need_id].append(key)
        self.visits[key] = self._from_visit(key, visit, place, stays=stays)

    def _from_visit(self, key: str, visit: Visit, place: str, *, stays: bool) -> VisitToPlan:
        need = visit.need
        starts_s = self.frame.seconds(visit.during.lower)
        ends = max(visit.during.upper, self.overruns.get(visit.pk, visit.during.upper))
        service_s = self.frame.seconds(ends) - starts_s
        service_s = service_s if stays else self._without_break(visit, service_s)
        share = service_s / sum(need.part_hours) / 3600 if need and need.part_hours else 1.0
        volume, stock = self._goods(visit.job_id, visit.kind, min(1.0, share))
        day = str(timezone.localtime(visit.during.lower).date())
        if stays and (visit.crew_id, day) in self.loaded:
            stock = {}
        plain = VisitToPlan(
            key=key,
            place=place,
            service_s=service_s,
            label=str(visit.job.property),
            due_s=self._due(need),
            priority=need.priority if need else 3,
            skills=frozenset(skills_for(visit.kind, need)),
            volume_m3=volume,
            stock=stock,
            promised=Promise(f"crew:{visit.crew_id}", starts_s, told=visit.promised_at is not None),
            fixed=stays,
            left_out_points=self._leaving_out(need, told=visit.promised_at is not None),
        )
        if need is None or stays:
            return plain
        return replace(plain, **self._choice(need, visit))

    def _leaving_out(self, need: VisitNeed | None, *, told: bool) -> float:
        """A booked visit is not thrown out for one that is not, one that was told least of all."""
        factor = TOLD_FACTOR if told else BOOKED_FACTOR
        return self.weights.leaving_out(need.priority if need else 3) * factor

    def _choice(self, need: VisitNeed, visit: Visit | None = None) -> dict[str, object]:
        """What decides who may come and when; a planner's own booking outside of it stands."""
        starts_s = self.frame.seconds(visit.during.lower) if visit else None
        windows = self._windows(need)
        if starts_s is not None and not _inside(windows, starts_s):
            windows = ()
        size = need.crew_size
        if visit is not None:
            crew = next((c for c in self.crews if c.pk == visit.crew_id), None)
            size = min(size, max(1, len(crew.operatives.all()))) if crew else size
        barred = {f"crew:{crew.pk}" for crew in need.barred_crews.all()}
        fixed = f"crew:{need.fixed_crew_id}" if need.fixed_crew_id else None
        preferred = {f"crew:{need.preferred_crew_id}"} if need.preferred_crew_id else set()
        return {
            "windows": windows,
            "crew_size": size,
            "fixed_crew": fixed,
            "preferred_crews": frozenset(preferred),
            "barred_crews": frozenset(barred - {fixed}),
            "earliest_s": self._earliest(need),
        }

    def _outside_hours(self, visit: Visit, shift: Shift | None) -> bool:
        """Somebody booked it before or after the crew's usual hours: it is not taken off for that.

        Where an absence cut the hours, it is planned anew.
        """
        if shift is None:
            return False
        day, crew = timezone.localtime(visit.during.lower).date(), visit.crew
        opens, closes = at(day, crew.day_starts_at), at(day, crew.day_ends_at)
        if (shift.opens_s, shift.closes_s) != tuple(map(self.frame.seconds, (opens, closes))):
            return False
        closes += timedelta(minutes=crew.overtime_minutes)
        if visit.during.lower >= opens and visit.during.upper <= closes:
            return False
        self.notes.append(f"{visit.job.reference} stays outside the hours of {crew}.")
        return True

    def _without_break(self, visit: Visit, service_s: int) -> int:
        """A booking that was planned across the crew's break is that much longer than the work."""
        need, rest = visit.need, visit.crew.break_minutes * 60
        if need is None or visit.part > len(need.part_hours):
            return service_s
        work = round(need.part_hours[visit.part - 1] * 3600)
        return work if rest and service_s == work + rest else service_s

    # --- What waits

    def add_waiting(self, need: VisitNeed) -> None:
        key = need.key
        parts = _open_parts(need)
        reason = self._why_not(need, parts)
        place = self._place(need.job.property) if reason is None else None
        if reason is None and place is None:
            reason = self._no_position(need.job.property)
        if reason is not None or place is None:
            self._leave(key, need, reason)
            return
        seconds = [round(need.part_hours[part - 1] * 3600) for part in parts]
        share = sum(seconds) / 3600 / sum(need.part_hours)
        volume, stock = self._goods(need.job_id, need.kind, share)
        self.needs[key], self.parts[key] = need, tuple(parts)
        self.keys_of_need[need.pk].append(key)
        self.visits[key] = VisitToPlan(
            key=key,
            place=place,
            service_s=sum(seconds),
            label=str(need.job.property),
            due_s=self._due(need),
            priority=need.priority,
            skills=frozenset(skills_for(need.kind, need)),
            volume_m3=volume,
            stock=stock,
            parts_s=tuple(seconds) if len(seconds) > 1 else (),
            **self._choice(need),  # type: ignore[arg-type]
        )

    def _why_not(self, need: VisitNeed, parts: list[int]) -> Reason | None:
        """What keeps a need out before any crew is looked at."""
        if not parts:
            return Reason(
                "nothing_left",
                "Every day of its work is booked.",
                "Add a day to its hours if there is more to do.",
            )
        windows = list(need.windows.all())
        if windows and not self._windows(need):
            later = any(window.during.lower >= self.frame.ends_at for window in windows)
            if later:
                return Reason(
                    "agreed_later",
                    "The householder agreed to a time after the days that are planned.",
                    "Plan more days.",
                )
            return Reason(
                "agreed_passed",
                "Every time that the householder agreed to has passed.",
                "Agree a new time.",
            )
        if need.earliest_on and midnight(need.earliest_on) >= self.frame.ends_at:
            return Reason(
                "not_yet",
                f"It may not begin before {need.earliest_on:%-d %b %Y}.",
                "Plan more days.",
            )
        return None

    def _leave(self, key: str, need: VisitNeed, reason: Reason | None) -> None:
        if reason is not None:
            self.left.append(Left(key, need, reason))

    # --- Shared

    def _windows(self, need: VisitNeed) -> tuple[Window, ...]:
        found = []
        for window in need.windows.all():
            opens, closes = (
                self.frame.seconds(m) for m in (window.during.lower, window.during.upper)
            )
            first, last = self.frame.seconds(self.frame.now), self.frame.seconds(self.frame.ends_at)
            if closes >= max(0, first) and opens < last:
                found.append(Window(opens, closes, window.whole))
        return tuple(found)

    def _earliest(self, need: VisitNeed) -> int:
        if need.earliest_on is None:
            return 0
        return max(0, self.frame.seconds(midnight(need.earliest_on)))

    def _due(self, need: VisitNeed | None) -> int | None:
        """The end of the day it is due on."""
        if need is None or need.due_on is None:
            return None
        return self.frame.seconds(midnight(need.due_on + timedelta(days=1)))

    def _goods(self, job_id: int, kind: str, share: float) -> tuple[float, dict[str, int]]:
        """Volume [m3] and pieces of the kept items that a visit takes, by its share of the work."""
        goods = self.goods.get((job_id, kind))
        if goods is None:
            return 0.0, {}
        pieces = {**goods.rolls, **goods.accessories}
        stock = {
            item: math.ceil(count * share - 1e-6)
            for item, count in pieces.items()
            if item in self.depots.counted
        }
        return goods.volume_m3 * share, {item: count for item, count in stock.items() if count}

    def _place(self, home: Property) -> str | None:
        """The key of a home's place, if its position is known."""
        position = _position_of(home)
        if position is None:
            return None
        key = f"home:{home.pk}"
        self.places.setdefault(key, Place(key, str(home), *position))
        return key

    def _stand_in(self, visit: Visit) -> str:
        """A booked visit to a home without a position stays; its crew's base stands in for it."""
        self.notes.append(
            f"{visit.job.property} has no position: its visit is not moved, and drives to it are "
            "not counted."
        )
        return f"crew:{visit.crew_id}"

    def _no_position(self, home: Property) -> Reason:
        return Reason(
            "no_position",
            f"{home} has no position, so no drive to it can be worked out.",
            "Give the latitude and longitude of the property.",
        )

    def take_out(self, key: str, reason: Reason) -> None:
        """A need that turned out not to be plannable."""
        del self.visits[key], self.parts[key]
        need = self.needs.pop(key)
        self.keys_of_need[need.pk].remove(key)
        self._leave(key, need, reason)

    def result(self) -> VisitsToPlan:
        put_in_order(self)
        return VisitsToPlan(
            tuple(self.visits.values()),
            tuple(self.places.values()),
            self.booked,
            self.needs,
            self.parts,
            tuple(self.left),
            tuple(dict.fromkeys(self.notes)),
        )


def _position_of(home: Property) -> tuple[float, float] | None:
    if home.latitude_deg is None or home.longitude_deg is None:
        return None
    return home.latitude_deg, home.longitude_deg


def _inside(windows: Iterable[Window], starts_s: int) -> bool:
    return any(window.opens_s <= starts_s <= window.closes_s for window in windows)


def _open_parts(need: VisitNeed) -> list[int]:
    taken = {visit.part for visit in need.visits.all() if visit.status in LIVE}
    return [part for part in range(1, len(need.part_hours) + 1) if part not in taken]
