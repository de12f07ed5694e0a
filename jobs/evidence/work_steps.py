"""The steps of laying, recorded one by one as the crew finishes each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pghistory

from jobs.announce import evidence_changed
from jobs.errors import Refused, refusals_explained
from jobs.evidence.phone_told import Told, fitting_words
from jobs.evidence.receiving import lock_visit, received_before, require_fitting, require_status
from jobs.evidence.work_points import check_points, not_in_order
from jobs.models import Job, User, Visit, WorkStep


@dataclass(frozen=True, slots=True)
class StepDone:
    """How one step went. answers: point code -> yes, no or n-a."""

    step: str
    outcome: str
    answers: Mapping[str, object] = field(default_factory=dict)
    note: str = ""


def record_work_step(visit: Visit, went: StepDone, by: User, told: Told) -> WorkStep:
    """Keep how a step went; a second record of the same step replaces the first.

    Raises:
        Refused: unknown step, outcome or point; a point left open on a step called done; a step
            left undone, or a point answered no, without a note.
        Conflict: the pre-start check was not safe yet, or the visit is stopped.
    """
    answers, note = _checked(went)
    with pghistory.context(user=by.pk, what="step of the work"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(WorkStep, visit, told.client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.ON_SITE,
            Visit.Status.DONE,
            Visit.Status.STOPPED,
            remedy="Do the pre-start check first.",
        )
        step = WorkStep.objects.create(
            visit=visit,
            step=went.step,
            outcome=went.outcome,
            answers=answers,
            note=note,
            done_at=told.phone_at,
            recorded_by=by,
            replaces=visit.work_steps.current().filter(step=went.step).last(),
            **told.columns,
        )
        evidence_changed.send(Job, job=visit.job)
    return step


def _checked(went: StepDone) -> tuple[dict[str, str], str]:
    _one_of(went.step, "step", WorkStep.Kind.values)
    _one_of(went.outcome, "outcome", WorkStep.Outcome.values)
    done = went.outcome == WorkStep.Outcome.DONE
    answers = check_points(went.step, went.answers, all_asked=done)
    note = fitting_words(went.note, "note", 300)
    wrong = not_in_order(went.step, answers)
    if not note and went.outcome == WorkStep.Outcome.NOT_DONE:
        raise Refused("Say why it is left undone.", field="note", remedy="One sentence is enough.")
    if not note and wrong:
        raise Refused(
            f"“{wrong[0].text}” is answered no.",
            field="note",
            remedy=f"Put it right, or say in the note why it stays so. {wrong[0].caution}",
        )
    return answers, note


def _one_of(word: str, name: str, known: list[str]) -> None:
    if word not in known:
        raise Refused(
            f"There is no {name} {word!r}.", field=name, remedy=f"Choose from: {', '.join(known)}."
        )
