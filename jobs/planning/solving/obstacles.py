"""Why a visit cannot lie in one shift: the first rule in its way, said for a person."""

from __future__ import annotations

from jobs.planning.plan import Reason
from jobs.planning.problem import Shift, VisitToPlan
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.spoken import crew_day, crew_name, day_name
from jobs.planning.solving.tables import Tables

CREW_CODES = ("fixed", "fixed_crew", "barred_crew", "skills", "crew_size")


def why_not_in(draft: Draft, visit: int, shift: int) -> tuple[Reason, ...]:
    """Every rule about the crew that is in the way, or else the first about time and load."""
    tables = draft.tables
    found = tables.problem.visits[visit]
    crew = _crew_reasons(tables, found, visit, shift)
    if crew:
        return crew
    return (_time_reason(draft, found, visit, shift) or _load_reason(draft, visit, shift),)


def _crew_reasons(
    tables: Tables, visit: VisitToPlan, number: int, shift: int
) -> tuple[Reason, ...]:
    problem = tables.problem
    row, name = problem.shifts[shift], crew_name(problem, shift)
    reasons: list[Reason] = []
    if visit.fixed:
        if not tables.allowed[number, shift]:
            reasons.append(Reason("fixed", "It is held where it is.", "Release it first."))
        return tuple(reasons)
    if visit.fixed_crew not in (None, row.crew):
        reasons.append(Reason("fixed_crew", "It belongs to another crew.", "Free it from it."))
    if row.crew in visit.barred_crews:
        reasons.append(Reason("barred_crew", f"{name} may not go there.", "Choose another crew."))
    lacking = visit.skills - row.skills
    if lacking:
        words = f"{name} has nobody for {', '.join(sorted(lacking))}."
        reasons.append(Reason("skills", words, "Choose a crew with that skill."))
    if visit.crew_size > row.crew_size:
        words = f"{name} can send {row.crew_size}; {visit.crew_size} are needed."
        reasons.append(Reason("crew_size", words, "Choose a larger crew."))
    return tuple(reasons)


def _time_reason(draft: Draft, visit: VisitToPlan, number: int, shift: int) -> Reason | None:
    problem = draft.tables.problem
    row = problem.shifts[shift]
    day = day_name(problem, row.day)
    latest_s = row.closes_s + row.overtime_s
    from_s = max(row.opens_s, problem.now_s)
    if latest_s <= problem.now_s:
        return Reason("past", f"{day} is over for that crew.", "Choose a later day.")
    if visit.earliest_s >= latest_s:
        return Reason("earliest", f"It may not start before {day} is over.", "Choose a later day.")
    if visit.windows and not _any_window(visit, row, max(from_s, visit.earliest_s), latest_s):
        words = f"No window agreed with the householder lies in {crew_day(problem, shift)}."
        return Reason("window", words, "Agree another time.")
    if from_s + visit.lengths_s[0] > latest_s:
        return Reason("too_long", "It takes longer than the shift.", "Split it over days.")
    starts_s = draft.not_before[number]
    if starts_s + visit.lengths_s[0] > latest_s and not draft.tables.befores[number]:
        words = f"From the time asked for it does not end before {day} is over for that crew."
        return Reason("earliest", words, "Choose an earlier time or a later day.")
    if starts_s + visit.lengths_s[0] > latest_s:
        words = "What must come before it ends after that."
        return Reason("order", words, "Choose a later day, or move the other one.")
    if any(not draft.is_placed(before) for before, _ in draft.tables.befores[number]):
        return Reason("order", "What must come before it is not planned.", "Plan that first.")
    return None


def _any_window(visit: VisitToPlan, row: Shift, from_s: int, latest_s: int) -> bool:
    length_s = visit.lengths_s[0]
    return any(
        max(from_s, window.opens_s) <= window.closes_s - (length_s if window.whole else 0)
        and max(from_s, window.opens_s) + length_s <= latest_s
        for window in visit.windows
    )


def _load_reason(draft: Draft, visit: int, shift: int) -> Reason:
    tables = draft.tables
    problem = tables.problem
    row = tables.shifts[shift]
    for task in tables.tasks_of(visit):
        if tables.tasks[task].litres > row.litres:
            words = (
                f"It needs {tables.tasks[task].litres / 1000:.1f} m³, "
                f"the van holds {row.litres / 1000:.1f} m³."
            )
            return Reason("van", words, "Take a larger van, or split the job.")
        item = draft.stock.lacking(task, shift) if tables.tasks[task].counts_stock else None
        if item is not None:
            words = f"The depot runs out of {item} by {day_name(problem, row.day)}."
            return Reason("stock", words, f"Order {item}, or choose a later day.")
    if len(tables.tasks_of(visit)) > 1:
        words = "The crew has no room on enough working days in a row from then on."
        return Reason("parts", words, "Choose another first day or crew.")
    if draft.timed(shift, (tables.first_task[visit],)) is None:
        words = "Even an empty day is too short for the way there, the work and the way back."
        return Reason("too_far", words, "Choose a crew that is nearer, or allow overtime.")
    words = f"{crew_day(problem, shift)} is full: the work and the driving do not fit."
    return Reason("no_room", words, "Allow overtime, or move something else.")
