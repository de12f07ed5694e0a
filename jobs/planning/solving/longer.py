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


def without_tried(draft: Draft, visit: int) -> str:
    """Numbers of what would be needed where nothing that was tried lets it in."""
    found = LongVisit(draft.tables.problem.visits[visit])
    shifts = draft.tables.problem.shifts
    longest_s = max(row.closes_s + row.overtime_s - row.opens_s for row in shifts)
    days = max(2, math.ceil(found.visit.service_s / max(1, longest_s - 3600)))
    return (
        f"Its work shared out over {days} days of {hours(found.over_days(days).lengths_s[0])} (the "
        f"longest shift is {hours(longest_s)}, driving and breaks included), on more days."
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
    for days in range(len(found.lengths_s) + 1, MOST_DAYS + 1):
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
