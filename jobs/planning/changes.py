"""What differs between two plans, visit by visit, and why each difference came about."""

from __future__ import annotations

from collections.abc import Iterator

from jobs.planning.objective import day_of
from jobs.planning.plan import Change, Plan, Round, Stop
from jobs.planning.problem import PlanProblem

NOTICEABLE_S = 60
Place = tuple[str, int]


def changes_between(
    problem: PlanProblem, before: Plan, after: Plan, *, problem_before: PlanProblem | None = None
) -> tuple[Change, ...]:
    """Every visit that lies elsewhere, or no longer, or only now, in order of time.

    `problem` is what the later plan was made from, `problem_before` (by default the same) what
    the earlier one was. A job of several days is told by its first part.
    """
    return _Comparison(problem_before or problem, problem, before, after).changes()


class _Comparison:
    """Two plans side by side, with what was disturbed between them."""

    def __init__(self, old: PlanProblem, new: PlanProblem, before: Plan, after: Plan) -> None:
        self.old, self.new = old, new
        self.was, self.now = _places(before), _places(after)
        self.after = after
        self.gone_shifts = {
            shift.key
            for shift in old.shifts
            if shift.key not in new.shift_index or _is_shorter(old, new, shift.key)
        }
        self.cancelled_in = {
            place[0]: key for key, place in self.was.items() if key not in new.visit_index
        }
        self.displaced = {key for key, place in self.was.items() if self._was_displaced(key, place)}

    def changes(self) -> tuple[Change, ...]:
        keys = sorted(
            {*self.was, *self.now},
            key=lambda key: (self.now.get(key) or self.was[key])[1],
        )
        return tuple(change for key in keys for change in self._change(key))

    def _change(self, key: str) -> Iterator[Change]:
        was, now = self.was.get(key), self.now.get(key)
        if was is not None and now is not None:
            kind = self._kind(was, now)
            if kind:
                yield Change(key, kind, was, now, *self._why_moved(key, was, now))
        elif was is not None:
            yield Change(key, "removed", was, None, *self._why_removed(key, was))
        else:
            yield Change(key, "added", None, now, *self._why_added(key, now))

    def _kind(self, was: Place, now: Place) -> str:
        crew_was, crew_now = self._crew(was[0]), self._crew(now[0])
        if day_of(self.new, was[1]) != day_of(self.new, now[1]):
            return "moved_day"
        if crew_was != crew_now:
            return "moved_crew"
        return "moved_time" if abs(was[1] - now[1]) >= NOTICEABLE_S else ""

    def _crew(self, shift: str) -> str:
        problem = self.new if shift in self.new.shift_index else self.old
        return problem.shift(shift).crew

    def _crew_label(self, shift: str) -> str:
        problem = self.new if shift in self.new.shift_index else self.old
        found = problem.shift(shift)
        return found.crew_label or found.crew

    def _day(self, shift: str) -> str:
        problem = self.new if shift in self.new.shift_index else self.old
        day = problem.days[problem.shift(shift).day]
        return f"{day:%a} {day.day} {day:%b}"

    def _was_displaced(self, key: str, place: Place) -> bool:
        """Whether what happened left the visit no way of staying where it was."""
        return (
            key in self.new.visit_index
            and self.now.get(key) != place
            and (place[0] in self.gone_shifts or self._overrun(key, place) is not None)
        )

    def _overrun(self, key: str, was: Place) -> str | None:
        """A visit of the same crew that now takes longer and reaches into this one's time."""
        for round_ in self.after.rounds:
            if round_.shift != was[0]:
                continue
            for stop in round_.stops:
                longer = stop.kind == "visit" and stop.key != key and self._is_longer(stop.key)
                if longer and stop.starts_s <= was[1] < stop.leaves_s + self._way_s(stop, key):
                    return stop.key
        return None

    def _is_longer(self, key: str) -> bool:
        known = key in self.old.visit_index
        return known and self.new.visit(key).service_s > self.old.visit(key).service_s

    def _way_s(self, stop: Stop, key: str) -> int:
        return self.new.travel_s(stop.place, self.new.visit(key).place)

    def _why_moved(self, key: str, was: Place, now: Place) -> tuple[str, str]:
        if was[0] in self.gone_shifts:
            words = f"{self._crew_label(was[0])} is not there on {self._day(was[0])}."
            return "absence", words
        overrun = self._overrun(key, was)
        if overrun is not None:
            return "overrun", f"{self._label(overrun)} takes longer than planned."
        maker = self._made_room_for(key, was)
        if maker is not None:
            return "made_room", f"It makes room for {self._label(maker)}, which had to move."
        if now[0] in self.cancelled_in:
            gone = self.old.visit(self.cancelled_in[now[0]])
            return "cancelled", f"It takes the place of {gone.label or gone.key}, which is off."
        return "better_route", "The rounds are shorter this way."

    def _made_room_for(self, key: str, was: Place) -> str | None:
        """A displaced visit that lies now in the round this one left or shared."""
        for other in self.displaced:
            place = self.now.get(other)
            if other != key and place is not None and place[0] == was[0]:
                return other
        return None

    def _why_removed(self, key: str, was: Place) -> tuple[str, str]:
        if key not in self.new.visit_index:
            return "cancelled", "It is off."
        if was[0] in self.gone_shifts:
            words = f"{self._crew_label(was[0])} is not there on {self._day(was[0])}, "
            return "absence", words + "and it fits nowhere else."
        overrun = self._overrun(key, was)
        if overrun is not None:
            words = f"{self._label(overrun)} takes longer than planned, and it fits nowhere else."
            return "overrun", words
        return "no_room", "Something dearer to leave out needed its place."

    def _why_added(self, key: str, now: Place | None) -> tuple[str, str]:
        if key not in self.old.visit_index:
            return "new", "It was not known before."
        if now is not None and now[0] in self.cancelled_in:
            gone = self.old.visit(self.cancelled_in[now[0]])
            return "cancelled", f"There is room since {gone.label or gone.key} is off."
        return "better_route", "The rounds leave room for it now."

    def _label(self, key: str) -> str:
        problem = self.new if key in self.new.visit_index else self.old
        return problem.visit(key).label or key


def _places(plan: Plan) -> dict[str, Place]:
    """(shift, start) of each placed visit's first part."""
    found: dict[str, tuple[Round, Stop]] = {}
    for round_, stop in plan.placed():
        if stop.key not in found or stop.part < found[stop.key][1].part:
            found[stop.key] = (round_, stop)
    return {key: (round_.shift, stop.starts_s) for key, (round_, stop) in found.items()}


def _is_shorter(old: PlanProblem, new: PlanProblem, shift: str) -> bool:
    before, after = old.shift(shift), new.shift(shift)
    lost = after.closes_s < before.closes_s or after.opens_s > before.opens_s
    return lost or len(after.breaks) > len(before.breaks)
