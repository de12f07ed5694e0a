"""What lets in a visit that takes longer than any shift: a longer one, more days, more hands.

Each is tried on the plan as it stands: with it granted and nothing else changed the visit goes in.
More hands shorten the work in proportion, as the labour of the engine is reckoned (operative-hours
shared by the crew).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from jobs.planning.plan import Plan, Relief
from jobs.planning.problem import VisitToPlan
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.insertion import Move, best_move
from jobs.planning.solving.places import fresh_draft
from jobs.planning.solving.relief import LongVisit, relieved
from jobs.planning.solving.spoken import crew_day, crew_name, hours, moment
from jobs.planning.solving.trials import loosened, overtime_needed

# The longest day that is worth proposing, driving and breaks included: our own choice, well below
# what the law on working time would allow; it comes first.
LONGEST_SHIFT_S = 13 * 3600
MOST_MORE_S = 5 * 3600
MOST_DAYS = 5
# Less than this of work is not worth the drive of a further day: our own choice.
SHORTEST_PART_S = 2 * 3600
NEAR_S = 10 * 60
TOO_LONG = ("too_long", "too_far")


@dataclass(frozen=True, slots=True)
class LongHelp:
    """One thing that lets it in, in words, and the relief that was tried."""

    words: str
    relief: Relief


def helps_for_long(draft: Draft, plan: Plan, visit: int) -> list[LongHelp]:
    """All three that work, each with its numbers; none where not even they let it in.

    The visit must be free to move.
    """
    return [
        *_longer_shift(draft, visit),
        *_more_days(draft, plan, visit),
        *_more_hands(draft, visit),
    ]


@dataclass(frozen=True, slots=True)
class Roomiest:
    """The shift that leaves the most time at the door, of the crews that may do the visit.

    Seconds: `room_s` of work, beside `drive_s` there and back and the breaks of its `length_s`.
    """

    shift: int
    room_s: int
    drive_s: int
    length_s: int

    def days_for(self, work_s: int) -> int:
        """Over how many days that work would fit, one part a day."""
        return math.ceil(work_s / self.room_s)


def roomiest(draft: Draft, visit: int) -> Roomiest:
    """Of shifts whose crew may do it; of all, where none may."""
    problem, place = draft.tables.problem, draft.tables.problem.visits[visit].place
    able = [n for n, fine in enumerate(draft.tables.able[visit].tolist()) if fine]
    found = []
    for number in able or range(len(problem.shifts)):
        row = problem.shifts[number]
        drive_s = problem.travel_s(row.start_place, place) + problem.travel_s(place, row.end_place)
        length_s = row.closes_s + row.overtime_s - max(row.opens_s, problem.now_s)
        rests_s = sum(rest.length_s for rest in row.breaks)
        found.append(Roomiest(number, length_s - rests_s - drive_s, drive_s, length_s))
    return max(found, key=lambda each: (each.room_s, -each.shift))


def is_too_long(draft: Draft, visit: int) -> bool:
    """Whether no shift, were it empty, would leave as much time as the visit takes.

    Only of one that is free to move: what is held is not asked for elsewhere.
    """
    found = draft.tables.problem.visits[visit]
    return not found.fixed and roomiest(draft, visit).room_s < found.lengths_s[0]


def without_tried(draft: Draft, visit: int) -> str:
    """Numbers of what would be needed where nothing that was tried lets it in."""
    problem, found = draft.tables.problem, draft.tables.problem.visits[visit]
    best = roomiest(draft, visit)
    name, shift, drive = crew_name(problem, best.shift), hours(best.length_s), hours(best.drive_s)
    if best.room_s < SHORTEST_PART_S:
        near_s = max(0, (best.length_s - found.lengths_s[0]) // 2)
        near = f"at most {hours(near_s)} away" if near_s >= NEAR_S else "in the same place"
        return (
            f"A crew with a base {near}. {name}, the nearest that may do it, drives {drive} there "
            f"and back in a shift of {shift}."
        )
    days = max(len(found.lengths_s) + 1, best.days_for(found.service_s))
    each = hours(LongVisit(found).over_days(days).lengths_s[0])
    return (
        f"Its work shared out over {days} days of {each}, on more days: {name} has "
        f"{hours(best.room_s)} for it in a shift of {shift}, beside {drive} there and back."
    )


def _longer_shift(draft: Draft, visit: int) -> Iterator[LongHelp]:
    problem = draft.tables.problem
    move = best_move(loosened(draft, visit, ("overtime",), MOST_MORE_S), visit)
    relief = None if move is None else overtime_needed(draft, move, 0)
    if relief is None:
        return
    shift = problem.shift_index[relief.shift]
    row = problem.shifts[shift]
    now_s = row.closes_s + row.overtime_s - row.opens_s
    if now_s + relief.amount <= LONGEST_SHIFT_S:
        words = (
            f"a shift of {hours(now_s + relief.amount)} for {crew_day(problem, shift)}, where it "
            f"is {hours(now_s)} now"
        )
        yield LongHelp(words, relief)


def _more_days(draft: Draft, plan: Plan, visit: int) -> Iterator[LongHelp]:
    problem = draft.tables.problem
    found = problem.visits[visit]
    best = roomiest(draft, visit)
    if best.room_s < SHORTEST_PART_S:
        return
    fewest = max(len(found.lengths_s) + 1, best.days_for(found.service_s))
    for days in range(fewest, min(fewest + 1, MOST_DAYS) + 1):
        relief = Relief("split", amount=days)
        freer = relieved(problem, found.key, relief)
        move = best_move(fresh_draft(freer, plan), visit)
        if move is not None:
            each = hours(freer.visits[visit].lengths_s[0])
            yield LongHelp(
                f"its work shared out over {days} days of {each} ({_where(draft, visit, move)})",
                relief,
            )
            return


def _more_hands(draft: Draft, visit: int) -> Iterator[LongHelp]:
    problem = draft.tables.problem
    found = problem.visits[visit]
    sizes = sorted({row.crew_size for row in problem.shifts if row.crew_size > found.crew_size})
    for size in sizes:
        freer = LongVisit(found).with_hands(size)
        move = best_move(loosened(draft, visit, (), 0, freer), visit)
        if move is not None:
            yield LongHelp(
                f"{size} people instead of {found.crew_size}, {_lengths(freer)} instead of "
                f"{_lengths(found)} ({_where(draft, visit, move)})",
                Relief("hands", amount=size),
            )
            return


def _lengths(visit: VisitToPlan) -> str:
    return " and ".join(hours(length) for length in visit.lengths_s)


def _where(draft: Draft, visit: int, move: Move) -> str:
    """Such as “North, Tue 1 Dec at 08:10”: where its first part would lie."""
    problem, task = draft.tables.problem, draft.tables.first_task[visit]
    shift, timed = move.rounds[0]
    rows = [row for row in timed.rows if row.item == task]
    at = moment(problem, rows[0].starts_s) if rows else ""
    return f"{crew_name(problem, shift)}, {at}"


def in_words(helps: list[LongHelp]) -> str:
    """One sentence: “One of: ...; or ....”"""
    told = [help_.words for help_ in helps]
    if len(told) == 1:
        return f"{told[0][0].upper()}{told[0][1:]}."
    return f"One of these: {'; '.join(told[:-1])}; or {told[-1]}."
