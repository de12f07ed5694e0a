"""What a planner changes about a visit that is needed: who, how long, when, in which order."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pghistory

from jobs.errors import Conflict, Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import Crew, User, VisitNeed
from jobs.planning.needs import BY_HAND, follow_visits, open_parts
from jobs.planning.spelling import parse_length, spell_length
from jobs.stages import lock_job

State = VisitNeed.State
EDITABLE = (
    "part_hours",
    "crew_size",
    "skills",
    "priority",
    "earliest_on",
    "due_on",
    "fixed_crew",
    "preferred_crew",
    "after",
    "after_gap_hours",
    "note",
)


def change_need(
    need: VisitNeed,
    *,
    by: User,
    version: int,
    barred_crews: Iterable[Crew] | None = None,
    **values: Any,
) -> VisitNeed:
    """Change what is not worked out but decided; what is set by hand is not worked out again.

    Raises:
        Stale: somebody changed it since. Conflict: it is over, or would wait for itself.
        Refused: a value cannot be (names the field).
    """
    unknown = values.keys() - set(EDITABLE)
    if unknown:
        raise TypeError(f"{sorted(unknown)} of a need cannot be changed.")
    with pghistory.context(user=by.pk, what="need changed"), refusals_explained():
        need = _locked(need, version)
        _refuse_over(need)
        changed = [name for name, value in values.items() if getattr(need, name) != value]
        for name in changed:
            setattr(need, name, values[name])
        _check(need, barred_crews)
        need.set_by_hand = sorted({*need.set_by_hand, *changed})
        need.version += 1
        need.save()
        if barred_crews is not None:
            need.barred_crews.set(barred_crews)
        if "part_hours" in changed:
            follow_visits(need)
    return need


def withdraw_need(need: VisitNeed, reason: str, *, by: User, version: int) -> VisitNeed:
    """Say that a visit is not needed; it is not asked for again at this stage of the job.

    Raises:
        Stale: somebody changed it since. Refused: no reason is given.
        Conflict: a visit of it is booked, or another waits for it.
    """
    if not reason.strip():
        raise Refused("Say why the visit is not needed.", field="reason")
    with pghistory.context(user=by.pk, what="need withdrawn"), refusals_explained():
        need = _locked(need, version)
        if need.state != State.OPEN or len(open_parts(need)) < len(need.part_hours):
            raise Conflict(
                f"This visit is “{need.get_state_display().lower()}”, in whole or in part.",
                field="state",
                remedy="Cancel what is booked of it first.",
            )
        need.state = State.WITHDRAWN
        need.set_by_hand = sorted({*need.set_by_hand, BY_HAND})
        need.note = reason.strip()[:300]
        need.version += 1
        need.save(update_fields=["state", "set_by_hand", "note", "version"])
    return need


def reopen_need(need: VisitNeed, *, by: User, version: int) -> VisitNeed:
    """Ask again for a visit that was withdrawn.

    Raises:
        Stale: somebody changed it since. Conflict: it was not withdrawn, or its job is over.
    """
    with pghistory.context(user=by.pk, what="need asked for again"), refusals_explained():
        need = _locked(need, version)
        if need.state != State.WITHDRAWN or need.job.stage in ("certified", "called_off"):
            raise Conflict("This visit cannot be asked for again.", field="state")
        need.state = State.OPEN
        need.set_by_hand = [name for name in need.set_by_hand if name != BY_HAND]
        need.version += 1
        need.save(update_fields=["state", "set_by_hand", "version"])
    return need


def work_out_again(need: VisitNeed, *, by: User, version: int) -> VisitNeed:
    """Forget what was set by hand. Raises Stale."""
    from jobs.planning.needs import keep_needs_in_step

    with pghistory.context(user=by.pk, what="need worked out again"), refusals_explained():
        need = _locked(need, version)
        need.set_by_hand = []
        need.version += 1
        need.save(update_fields=["set_by_hand", "version"])
        keep_needs_in_step(need.job)
        need.refresh_from_db()
    return need


def _locked(need: VisitNeed, version: int) -> VisitNeed:
    lock_job(need.job_id)
    stored = VisitNeed.objects.with_job().select_for_update(of=("self",)).get(pk=need.pk)
    if stored.version != version:
        raise Stale("What is needed")
    return stored


def _refuse_over(need: VisitNeed) -> None:
    if need.state in (State.DONE, State.WITHDRAWN):
        raise Conflict(
            f"This visit is “{need.get_state_display().lower()}” and is not changed any more.",
            field="state",
            remedy="Ask for it again first.",
        )


def _check(need: VisitNeed, barred: Iterable[Crew] | None) -> None:
    for field in ("fixed_crew", "preferred_crew", "after"):
        other = getattr(need, field)
        if other is not None and other.company_id != need.company_id:
            raise Refused("There is no such record.", field=field, remedy="Choose one of yours.")
    for crew in barred or ():
        if crew.company_id != need.company_id:
            raise Refused("There is no such crew.", field="barred_crews")
        if crew.pk == need.fixed_crew_id:
            raise Refused(
                f"{crew} cannot be barred and the only one.",
                field="barred_crews",
                remedy="Take it off one of the two.",
            )
    taken = len(need.part_hours) and max(
        need.visits.filter(status__in=("booked", "on_site", "done")).values_list("part", flat=True),
        default=0,
    )
    if taken > len(need.part_hours):
        raise Conflict(
            f"Day {taken} of its work is booked.",
            field="part_hours",
            remedy="Cancel that visit first.",
        )
    refuse_invalid(need)


def spell_parts(part_hours: Iterable[float]) -> str:
    """The hours of each day in hours and minutes, such as “5:30, 4:00”."""
    return ", ".join(spell_length(hours) for hours in part_hours)


def parse_part_hours(text: str) -> list[float]:
    """Hours of each day as a planner types them: “6:00”, or “5:30, 4:00”; also “5.5, 4”.

    Raises:
        Refused: no number, or a length that a visit cannot have (field `part_hours`).
    """
    try:
        hours = [parse_length(part) for part in text.replace("+", ",").split(",") if part.strip()]
    except ValueError:
        hours = []
    if not hours or not all(0.25 <= each <= 14 for each in hours):
        raise Refused(
            f"“{text.strip()[:40]}” is not how long a visit takes.",
            field="part_hours",
            remedy="Give hours, such as 6:00, or those of each day, such as 5:30, 4:00.",
        )
    return hours
