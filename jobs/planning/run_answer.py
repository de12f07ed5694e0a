"""What a run that was asked for because something came between has to say: the change first.

The lines are the same as any run's; here they are told in the order in which the office has to act
on them: which booked visits change and why, what stays and does not fit, what waits and now fits.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from jobs.models import Crew, PlanRun, ProposedVisit
from jobs.planning.disturbance import Disturbance
from jobs.planning.run_groups import (
    CrewLines,
    ReasonLines,
    ShownLine,
    by_crew,
    by_reason,
    shown_lines,
)

Change = ProposedVisit.Change
OF_BOOKED = (Change.MOVED, Change.OTHER_CREW, Change.TAKEN_OFF)


@dataclass(frozen=True, slots=True)
class DisturbanceAnswer:
    """`changes`: booked visits that would move or come off. `stuck`: stay, and do not fit since.

    `made_late`: how many of `changes` would end after their due day and did not so far;
    `late_before`: booked visits that did. `before`: did not fit already. `fits_now`: what waits and
    would be booked, by crew. `left`: what waits on, where all of it was looked at.
    """

    where: str
    changes: tuple[ShownLine, ...]
    stuck: tuple[ShownLine, ...]
    fits_now: tuple[CrewLines, ...]
    before: tuple[ShownLine, ...]
    kept: tuple[CrewLines, ...]
    left: tuple[ReasonLines, ...]
    made_late: int = 0
    late_before: int = 0

    @property
    def fits_count(self) -> int:
        return sum(len(day.lines) for crew in self.fits_now for day in crew.days)

    @property
    def kept_count(self) -> int:
        return sum(len(day.lines) for crew in self.kept for day in crew.days)


def disturbance_of(run: PlanRun) -> Disturbance | None:
    """What a run was asked for because of, if it was."""
    kept = run.wishes.get("disturbed")
    return Disturbance.from_json(kept) if kept else None


def answer_to(
    disturbed: Disturbance, run: PlanRun, lines: Iterable[ProposedVisit]
) -> DisturbanceAnswer:
    """The lines of a run (`proposals_of`), told by what came between. One query."""
    shown = shown_lines(lines)
    changes = [each for each in shown if each.line.change in OF_BOOKED]
    misfits = [each for each in shown if each.line.change == Change.KEPT and each.line.reasons]
    kept = [each for each in shown if each.line.change == Change.KEPT and not each.line.reasons]
    return DisturbanceAnswer(
        where=_where(disturbed, run),
        changes=tuple(sorted(changes, key=lambda each: each.line.was_during)),
        stuck=tuple(each for each in misfits if disturbed.touches(each.line.visit)),
        fits_now=by_crew(each for each in shown if each.line.change == Change.NEW),
        before=tuple(each for each in misfits if not disturbed.touches(each.line.visit)),
        kept=by_crew(kept),
        left=by_reason(each for each in shown if each.line.change == Change.LEFT),
        made_late=sum(_is_late(each.line) and not _was_late(each.line) for each in changes),
        late_before=sum(_was_late(each.line) for each in shown),
    )


def _is_late(line: ProposedVisit) -> bool:
    return _ends_late(line, line.during)


def _was_late(line: ProposedVisit) -> bool:
    """As it is booked; what waits is not."""
    return line.visit is not None and _ends_late(line, line.was_during)


def _ends_late(line: ProposedVisit, during: Any) -> bool:
    """Whether it ends after the day on which it is due."""
    due_on = line.need.due_on if line.need is not None else None
    if due_on is None or during is None:
        return False
    return bool(timezone.localtime(during.upper).date() > due_on)


def _where(disturbed: Disturbance, run: PlanRun) -> str:
    crew = Crew.objects.filter(company=run.company_id, pk=disturbed.crew).first()
    first, last = disturbed.first_day, disturbed.last_day
    days = f"{first:%a %-d %b}" + (f" to {last:%a %-d %b}" if last > first else "")
    return f"{crew or 'A crew'}, {days}"
