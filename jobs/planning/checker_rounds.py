"""The rules of one round: its times, ways, loads, breaks, and who may do what."""

from __future__ import annotations

from collections.abc import Iterator

from jobs.planning.plan import Round, Stop, Violation
from jobs.planning.problem import Break, PlanProblem, Shift, VisitToPlan, Window

VOLUME_TOLERANCE_M3 = 1e-6


def check_round(problem: PlanProblem, round_: Round) -> Iterator[Violation]:
    """Every rule that the round breaks by itself."""
    shift = problem.shift(round_.shift)
    yield from _check_ways(problem, shift, round_)
    yield from _check_ends(problem, shift, round_)
    for stop in round_.stops:
        if stop.kind == "visit":
            yield from _check_visit(problem, shift, stop)
        elif stop.kind == "reload":
            yield from _check_reload(problem, shift, stop)
    yield from _check_breaks(problem, shift, round_)
    yield from _check_trips(problem, shift, round_)


def is_fixed(problem: PlanProblem, stop: Stop) -> bool:
    """Whether the stop is a visit that a person fixed."""
    return stop.kind == "visit" and problem.visit(stop.key).fixed


def within(windows: tuple[Window, ...], starts_s: int, ends_s: int) -> bool:
    """Whether something starts (and ends, where the window says so) inside one of the windows."""
    return not windows or any(
        window.opens_s <= starts_s <= window.closes_s
        and (not window.whole or ends_s <= window.closes_s)
        for window in windows
    )


def _check_ways(problem: PlanProblem, shift: Shift, round_: Round) -> Iterator[Violation]:
    """Every stop is reached by the travel times given, one after the other."""
    place, left_s, by_hand = shift.start_place, round_.departs_s, True
    for stop in round_.stops:
        if stop.place not in problem.place_index:
            yield Violation("place", stop.key, f"No place {stop.place!r}.")
            return
        told = (stop.travel_s, stop.travel_m)
        if told != (problem.travel_s(place, stop.place), problem.travel_m(place, stop.place)):
            yield Violation("travel", stop.key, "The way there is not the one of the matrix.")
        fixed = is_fixed(problem, stop)
        way_s = 0 if fixed and by_hand else problem.travel_s(place, stop.place)
        if stop.arrives_s < left_s + way_s:
            yield Violation("travel", stop.key, "It arrives before it can.")
        if stop.kind == "visit" and not fixed and stop.arrives_s - way_s < problem.now_s:
            yield Violation("past", stop.key, "The crew would have to set off in the past.")
        if stop.starts_s < stop.arrives_s or stop.leaves_s < stop.starts_s:
            yield Violation("times", stop.key, "It starts before arriving or ends before starting.")
        place, left_s, by_hand = stop.place, stop.leaves_s, fixed
    home = (problem.travel_s(place, shift.end_place), problem.travel_m(place, shift.end_place))
    if (round_.travel_home_s, round_.travel_home_m) != home:
        yield Violation("travel", round_.shift, "The way home is not the one of the matrix.")
    if round_.returns_s < left_s + home[0]:
        yield Violation("travel", round_.shift, "It is back before it can be.")


def _check_ends(problem: PlanProblem, shift: Shift, round_: Round) -> Iterator[Violation]:
    """The crew leaves after its shift opens and is back in time, but for what was fixed."""
    if not round_.stops:
        return
    fixed = [stop for stop in round_.stops if is_fixed(problem, stop)]
    if round_.departs_s < shift.opens_s and not is_fixed(problem, round_.stops[0]):
        yield Violation("shift", shift.key, "The crew leaves before its shift opens.")
    latest_s = shift.closes_s + shift.overtime_s
    if fixed:
        home_s = problem.travel_s(fixed[-1].place, shift.end_place)
        latest_s = max(latest_s, fixed[-1].leaves_s + home_s)
    if round_.returns_s > latest_s:
        yield Violation("shift", shift.key, "The crew is back after its shift and overtime.")


def _check_visit(problem: PlanProblem, shift: Shift, stop: Stop) -> Iterator[Violation]:
    """Place, length, skills, crew, windows and even starting times of one visit."""
    visit = problem.visit(stop.key)
    if stop.place != visit.place:
        yield Violation("place", visit.key, "It is planned at another place.")
    rested_s = sum(end_s - start_s for start_s, end_s in stop.rests)
    if stop.leaves_s - stop.starts_s != visit.lengths_s[stop.part] + rested_s:
        yield Violation("length", visit.key, "It is given another time than it takes.")
    if visit.fixed:
        return
    yield from _check_crew(visit, shift)
    if stop.starts_s < shift.first_start_s:
        yield Violation("shift", visit.key, "It starts before the crew's own hours.")
    if stop.starts_s < visit.earliest_s:
        yield Violation("earliest", visit.key, "It starts before its earliest time.")
    if stop.part == 0 and not within(visit.windows, stop.starts_s, stop.leaves_s):
        yield Violation("window", visit.key, "It lies in none of the windows agreed.")
    if stop.starts_s % problem.start_step_s:
        yield Violation("step", visit.key, f"It starts at an odd time, {stop.starts_s} s.")


def _check_crew(visit: VisitToPlan, shift: Shift) -> Iterator[Violation]:
    lacking = visit.skills - shift.skills
    if lacking:
        yield Violation("skills", visit.key, f"{shift.crew} lacks {', '.join(sorted(lacking))}.")
    if visit.crew_size > shift.crew_size:
        words = f"{shift.crew} can send {shift.crew_size}; {visit.crew_size} are needed."
        yield Violation("crew_size", visit.key, words)
    if visit.fixed_crew not in (None, shift.crew):
        yield Violation("fixed_crew", visit.key, f"It belongs to {visit.fixed_crew}.")
    if shift.crew in visit.barred_crews:
        yield Violation("barred_crew", visit.key, f"{shift.crew} may not go there.")


def _check_reload(problem: PlanProblem, shift: Shift, stop: Stop) -> Iterator[Violation]:
    """At the shift's own depot, for as long as it takes, while it is open."""
    if shift.depot is None or stop.key != shift.depot:
        yield Violation("reload", shift.key, "It reloads at a depot that is not its own.")
        return
    depot = problem.depot(shift.depot)
    if stop.place != depot.place:
        yield Violation("place", depot.key, "The reload is planned at another place.")
    if stop.leaves_s - stop.starts_s != depot.reload_s:
        yield Violation("length", depot.key, "The reload is given another time than it takes.")
    open_ = not depot.windows or any(
        window.opens_s <= stop.starts_s and stop.leaves_s <= window.closes_s
        for window in depot.windows
    )
    if not open_:
        yield Violation("depot_hours", depot.key, f"{shift.crew} reloads while it is closed.")


def _check_breaks(problem: PlanProblem, shift: Shift, round_: Round) -> Iterator[Violation]:
    """Each break is taken once, in its time; nothing else is called one."""
    taken = list(_rests(problem, shift, round_))
    for starts_s, ends_s in taken:
        if not any(_is_break(rest, starts_s, ends_s) for rest in shift.breaks):
            yield Violation("break", shift.key, f"A break at {starts_s} s is none of its breaks.")
    yield from _check_break_places(shift, round_)
    if all(stop.kind == "break" or is_fixed(problem, stop) for stop in round_.stops):
        return
    for rest in shift.breaks:
        before = round_.departs_s >= rest.earliest_s + rest.length_s
        after = round_.returns_s <= rest.latest_s
        if before or after or any(_is_break(rest, *one) for one in taken):
            continue
        if not any(_covers(problem, stop, rest) for stop in round_.stops):
            yield Violation("break", shift.key, f"No time is left for {rest.label}.")


def _rests(problem: PlanProblem, shift: Shift, round_: Round) -> Iterator[tuple[int, int]]:
    """(start, end) of every break, between stops and within visits that contain it."""
    for stop in round_.stops:
        if stop.kind == "break":
            yield stop.starts_s, stop.leaves_s
        for starts_s, ends_s in stop.rests:
            inside = stop.starts_s <= starts_s < ends_s <= stop.leaves_s
            may = any(r.within_visit and _is_break(r, starts_s, ends_s) for r in shift.breaks)
            yield (starts_s, ends_s) if inside and may else (-1, -1)


def _is_break(rest: Break, starts_s: int, ends_s: int) -> bool:
    return rest.earliest_s <= starts_s <= rest.latest_s and ends_s - starts_s == rest.length_s


def _covers(problem: PlanProblem, stop: Stop, rest: Break) -> bool:
    """Whether a fixed visit leaves room for the break in its midst: people take it there."""
    starts_s = max(stop.starts_s, rest.earliest_s)
    return (
        is_fixed(problem, stop)
        and starts_s <= rest.latest_s
        and starts_s + rest.length_s <= stop.leaves_s
    )


def _check_break_places(shift: Shift, round_: Round) -> Iterator[Violation]:
    """A break is taken where the crew is: at the stop before or the stop after."""
    places = [shift.start_place, *(stop.place for stop in round_.stops), shift.end_place]
    for number, stop in enumerate(round_.stops):
        if stop.kind == "break" and stop.place not in (places[number], places[number + 2]):
            yield Violation("place", shift.key, "A break is taken out of the way.")


def _check_trips(problem: PlanProblem, shift: Shift, round_: Round) -> Iterator[Violation]:
    """What each trip carries fits the van, and could be loaded when the trip began."""
    loaded_s, stops = round_.departs_s, list[Stop]()
    first = True
    for stop in [*round_.stops, None]:
        if stop is not None and stop.kind != "reload":
            stops.append(stop)
            continue
        yield from _check_trip(problem, shift, stops, loaded_s, first)
        if stop is not None:
            loaded_s, stops, first = stop.starts_s, [], False


def _check_trip(
    problem: PlanProblem, shift: Shift, stops: list[Stop], loaded_s: int, first: bool
) -> Iterator[Violation]:
    visits = [(problem.visit(stop.key), stop) for stop in stops if stop.kind == "visit"]
    moving = [(visit, stop) for visit, stop in visits if not visit.fixed]
    if not moving:
        return
    volume_m3 = sum(visit.part_volume_m3(stop.part) for visit, stop in visits)
    room_m3 = shift.van_volume_m3
    carries = any(visit.part_volume_m3(stop.part) for visit, stop in moving)
    if carries and room_m3 is not None and volume_m3 > room_m3 + VOLUME_TOLERANCE_M3:
        yield Violation("van", shift.key, f"{volume_m3:.2f} m³ in a van of {room_m3:.2f} m³.")
    for visit, _ in moving:
        if loaded_s < visit.goods_ready_s:
            yield Violation("goods_ready", visit.key, "Its goods are loaded before they are there.")
    if not first or shift.depot is None or not any(v.volume_m3 or v.stock for v, _ in moving):
        return
    depot = problem.depot(shift.depot)
    if depot.place == shift.start_place and depot.windows:
        open_ = any(w.opens_s <= loaded_s <= w.closes_s for w in depot.windows)
        if not open_ and not visits[0][0].fixed:
            yield Violation("depot_hours", depot.key, f"{shift.crew} loads while it is closed.")
