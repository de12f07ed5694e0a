"""The order of work on site, how far a visit has come, and what comes next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jobs.evidence.questions import outcome_of
from jobs.evidence.site_record import SiteRecord
from jobs.models import Visit

State = Literal["done", "begun", "open"]

CHECK, BEFORE, LAYERS, AFTER, READINGS, HANDOVER = (
    "check",
    "before",
    "layers",
    "after",
    "readings",
    "handover",
)


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
    def missing(self) -> tuple[str, ...]:
        """What is not there yet besides the handover itself."""
        return tuple(
            f"{step.title}: {step.detail}"
            for step in self.steps
            if step.state != "done" and step.key not in (HANDOVER, LAYERS)
        )


def order_of_work(record: SiteRecord) -> OrderOfWork:
    """The steps of a visit in order; next is the first that is not done, None once it is over.

    Laying is not recorded by itself: it counts as done once a photo or reading after it is there.
    """
    steps = (
        _check_step(record),
        _photo_step(record, "before", BEFORE, "Before photos"),
        _layers_step(record),
        _photo_step(record, "after", AFTER, "After photos"),
        _readings_step(record),
        _handover_step(record),
    )
    over = record.visit.status in (Visit.Status.DONE, Visit.Status.STOPPED)
    following = next((step for step in steps if step.state != "done"), None)
    return OrderOfWork(steps, None if over else following)


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


def _layers_step(record: SiteRecord) -> Step:
    title, call = "Lay the layers", "See what goes where"
    if record.photos_at("after") or record.readings:
        return Step(LAYERS, title, "done", "laid", call)
    detail = "drawings and cut list" if record.plan else "no layer plan for this job"
    return Step(LAYERS, title, "open", detail, call)


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
