"""The order of work on site, how far a visit has come, and what comes next."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from jobs.evidence.questions import outcome_of
from jobs.evidence.site_record import SiteRecord
from jobs.evidence.work_points import not_in_order
from jobs.models import Visit, WorkStep

State = Literal["done", "begun", "open", "left"]
"""left: said to be left undone, with a reason. It holds nothing up, but it stays missing."""

ARRIVAL, LOFT, CHECK, BEFORE = "arrival", "loft", "check", "before"
AFTER, READINGS, HANDOVER, LEAVE = "after", "readings", "handover", "leave"
LAYING: tuple[str, ...] = tuple(WorkStep.Kind.values)
CALLS = {
    "eaves": "Begin at the eaves",
    "first_layer": "Lay the first layer",
    "cross_layers": "Lay the cross layers",
    "hatch_and_tank": "Do hatch and tank",
}
LAYER_OF = {"first_layer": "between_joists", "cross_layers": "across_joists"}
NOT_MISSING = (ARRIVAL, LOFT, HANDOVER, LEAVE)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work. detail: what is there and what is missing, in a sentence.

    call: the words on the one big button when this step is next.
    """

    key: str
    title: str
    state: State
    detail: str
    call: str


@dataclass(frozen=True, slots=True)
class OrderOfWork:
    steps: tuple[Step, ...]
    next: Step | None

    @property
    def missing_steps(self) -> tuple[Step, ...]:
        """What is not there yet besides the handover itself."""
        return tuple(
            step for step in self.steps if step.state != "done" and step.key not in NOT_MISSING
        )

    @property
    def missing(self) -> tuple[str, ...]:
        """`missing_steps` in words."""
        return tuple(f"{step.title}: {step.detail}" for step in self.missing_steps)


def order_of_work(record: SiteRecord) -> OrderOfWork:
    """The steps of a visit in the order the trade does them; next is the first one open.

    A visit that records no steps (`SiteRecord.by_steps`) counts as laid once a photo or reading
    after it is there, and its crew as arrived with the pre-start check.
    """
    steps = tuple(_steps(record))
    over = record.visit.status in (Visit.Status.DONE, Visit.Status.STOPPED)
    waiting = (step for step in steps if step.state in ("open", "begun"))
    if over:
        waiting = (step for step in steps if step.key == LEAVE and step.state == "open")
    return OrderOfWork(steps, next(waiting, None))


def _steps(record: SiteRecord) -> Iterator[Step]:
    yield _arrival_step(record)
    yield _loft_step(record)
    yield _check_step(record)
    yield _photo_step(record, "before", BEFORE, "Before photos")
    for kind in LAYING:
        if is_planned(kind, record.layer_kinds):
            yield _laying_step(record, kind)
    yield _photo_step(record, "after", AFTER, "After photos")
    yield _readings_step(record)
    yield _handover_step(record)
    yield _leave_step(record)


def is_planned(kind: str, layer_kinds: Collection[str]) -> bool:
    """A layer that the plan does not have is no step; without a plan every one is asked for."""
    layer = LAYER_OF.get(kind)
    return layer is None or not layer_kinds or layer in layer_kinds


def _arrival_step(record: SiteRecord) -> Step:
    title, call = "Arrival", "We are here"
    if record.arrival is not None:
        count = len(record.arrival.operative_ids)
        return Step(ARRIVAL, title, "done", f"{count} here", call)
    if not record.by_steps:
        return Step(ARRIVAL, title, "done", "with the pre-start check", call)
    return Step(ARRIVAL, title, "open", "who is here, who let you in", call)


def _loft_step(record: SiteRecord) -> Step:
    title, call = "Loft empty and safe", "The loft is empty now"
    if record.arrival is not None:
        if record.arrival.loft_ready:
            return Step(LOFT, title, "done", "yes", call)
        return Step(LOFT, title, "begun", record.arrival.note, call)
    if record.check and record.check.answers.get("loft_empty") == "yes":
        return Step(LOFT, title, "done", "told in the pre-start check", call)
    return Step(LOFT, title, "open" if record.by_steps else "done", "not told", call)


def _check_step(record: SiteRecord) -> Step:
    check = record.check
    title, call = "Pre-start check", "Start the pre-start check"
    if check is None:
        return Step(CHECK, title, "open", "not done", call)
    if check.safe_to_start:
        return Step(CHECK, title, "done", "safe to start", call)
    unsafe = ", ".join(question.short.lower() for question in outcome_of(check.answers).unsafe)
    return Step(CHECK, title, "begun", f"to put right: {unsafe}", "Check again")


def _photo_step(record: SiteRecord, moment: str, key: str, title: str) -> Step:
    call = f"Take the {moment} photos"
    points, missing = record.points_at(moment), record.points_missing(moment)
    taken = len(record.photos_at(moment))
    if not points:
        state: State = "done" if taken else "open"
        return Step(key, title, state, f"{taken} stored", call)
    if not missing:
        return Step(key, title, "done", f"all {len(points)} points have one", call)
    labels = ", ".join(point.label for point in missing)
    state = "begun" if taken else "open"
    return Step(
        key, title, state, f"{len(missing)} of {len(points)} points missing ({labels})", call
    )


def _laying_step(record: SiteRecord, kind: str) -> Step:
    title, call = WorkStep.Kind(kind).label, CALLS[kind]
    told = record.steps.get(kind)
    if told is None:
        if not record.by_steps and (record.photos_at("after") or record.readings):
            return Step(kind, title, "done", "laid, not recorded step by step", call)
        return Step(kind, title, "open", "not recorded", call)
    if told.outcome == WorkStep.Outcome.NOT_DONE:
        return Step(kind, title, "left", told.note, call)
    if told.outcome == WorkStep.Outcome.NOT_NEEDED:
        return Step(kind, title, "done", "not needed on this visit", call)
    wrong = not_in_order(kind, told.answers)
    return Step(kind, title, "done", f"but: {told.note}" if wrong else "recorded", call)


def _readings_step(record: SiteRecord) -> Step:
    title, call = "Depth readings", "Measure the depth"
    count, wanted = len(record.readings), len(record.still_to_measure)
    state: State = "begun" if count else "open"
    if record.requirement is None or record.loft is None:
        return Step(READINGS, title, "done" if count else "open", f"{count} stored", call)
    if wanted:
        return Step(READINGS, title, state, f"{count} stored, {wanted} more wanted", call)
    short = record.verdict is not None and record.verdict.verdict == "short"
    return Step(READINGS, title, "done", f"{count} stored{', short so far' if short else ''}", call)


def _handover_step(record: SiteRecord) -> Step:
    title, call = "Handover", "Hand over"
    if record.handover is None:
        return Step(HANDOVER, title, "open", "not signed", call)
    return Step(HANDOVER, title, "done", f"signed by {record.handover.signed_name}", call)


def _leave_step(record: SiteRecord) -> Step:
    title, call = "Leave", "Leave the home"
    if record.left is not None:
        return Step(LEAVE, title, "done", record.left.get_because_display().lower(), call)
    if not record.by_steps and record.visit.status == Visit.Status.DONE:
        return Step(LEAVE, title, "done", "with the handover", call)
    return Step(LEAVE, title, "open", "loft closed, nothing left behind", call)
