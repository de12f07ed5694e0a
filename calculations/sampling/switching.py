"""Switching between normal, tightened and reduced inspection, kept per crew or company.

ISO 2859-1, clause 9.3, published outline: normal to tightened when 2 of 5 or fewer
consecutive lots are not accepted; back after 5 accepted in a row; normal to reduced when the
switching score reaches 30; back on one lot not accepted; inspection stops when 5 lots are
not accepted while tightened. The score's steps are from memory of clause 9.3.3.2: 3 for a
lot that would be accepted at the next finer AQL where the plan accepts on 2 or more, 2 for
an accepted lot where it accepts on 0 or 1, else back to 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from calculations.records import Plain, plain_dict
from calculations.sampling.errors import SamplingError
from calculations.sampling.plans import InspectionPlan, inspection_plan
from calculations.sampling.tables import AQLS, Severity

SCORE_FOR_REDUCED = 30
WATCHED_LOTS = 5
NOT_ACCEPTED_TO_TIGHTEN = 2
ACCEPTED_TO_RELAX = 5
NOT_ACCEPTED_TO_STOP = 5


@dataclass(frozen=True, slots=True)
class SwitchingState:
    """Where a crew or company stands.

    recent: accepted or not, of the last lots (five at most) since the last switch. score:
    the switching score of normal inspection. missed_while_tightened: lots not accepted
    since tightened inspection began. stopped: acceptance by sampling is off until the
    company has put matters right and the scheme agrees (`resume`).
    """

    severity: Severity = "normal"
    recent: tuple[bool, ...] = ()
    score: int = 0
    missed_while_tightened: int = 0
    stopped: bool = False

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def after_lot(
    state: SwitchingState,
    plan: InspectionPlan,
    defective: int,
    *,
    reduced_allowed: bool = True,
    rejected: bool = False,
) -> SwitchingState:
    """The state after a lot was inspected by `plan` with `defective` jobs found.

    reduced_allowed: work is steady and the scheme wants reduced inspection. rejected: it is not
    accepted whatever the number, such as for a critical finding. Lots inspected
    again after putting right are not for this: the rules count first inspections only.
    Raises SamplingError when inspection is stopped or the plan is of another severity.
    """
    if state.stopped:
        raise SamplingError(
            "state", "is stopped.", "Resume after matters are put right and the scheme agrees."
        )
    if plan.severity != state.severity:
        raise SamplingError(
            "plan",
            f"is for {plan.severity} inspection.",
            f"Inspect this lot by a {state.severity} plan.",
        )
    accepted = not rejected and plan.outcome(defective) == "accepted"
    if state.severity == "reduced":
        return state if accepted else SwitchingState()
    recent = (*state.recent, accepted)[-WATCHED_LOTS:]
    if state.severity == "tightened":
        return _after_tightened(state, recent, accepted)
    if recent.count(False) >= NOT_ACCEPTED_TO_TIGHTEN:
        return SwitchingState(severity="tightened")
    score = next_score(state.score, plan, defective) if accepted else 0
    if score >= SCORE_FOR_REDUCED and reduced_allowed:
        return SwitchingState(severity="reduced")
    return replace(state, recent=recent, score=score)


def resume(state: SwitchingState) -> SwitchingState:
    """After a stop: tightened inspection from the start."""
    if not state.stopped:
        raise SamplingError("state", "is not stopped.", "Nothing to resume.")
    return SwitchingState(severity="tightened")


def next_score(score: int, plan: InspectionPlan, defective: int) -> int:
    """The switching score after a lot on normal inspection."""
    if plan.accept >= 2:
        finer = AQLS.index(plan.aql) - 1
        tighter = inspection_plan(plan.lot_size, AQLS[finer], plan.level)
        return score + 3 if defective <= tighter.accept else 0
    return score + 2 if defective <= plan.accept else 0


def _after_tightened(
    state: SwitchingState, recent: tuple[bool, ...], accepted: bool
) -> SwitchingState:
    missed = state.missed_while_tightened + (0 if accepted else 1)
    if missed >= NOT_ACCEPTED_TO_STOP:
        return replace(state, recent=recent, missed_while_tightened=missed, stopped=True)
    if len(recent) == ACCEPTED_TO_RELAX and all(recent):
        return SwitchingState()
    return replace(state, recent=recent, missed_while_tightened=missed)
