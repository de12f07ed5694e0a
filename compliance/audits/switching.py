"""Normal, tightened and reduced inspection, kept for each crew, company or scheme.

Rounds over the same crew of a company, over the same company, or over the whole scheme are the
lots of one series. Each round closed by an acceptance plan moves the series on by the rules of
ISO 2859-1 (`calculations.sampling.switching`); where it stands, and why, is a fact in the ledger.
"""

from __future__ import annotations

from dataclasses import dataclass

from calculations.sampling import InspectionPlan, SwitchingState, after_lot, resume
from calculations.sampling.switching import SCORE_FOR_REDUCED, WATCHED_LOTS
from compliance.models import AuditRound, SwitchingStep
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Company, Crew, Scheme, User

FIRST_TIME = "The first lot of its series is inspected normally."


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose lots make one series. Neither company nor crew: the scheme as a whole."""

    scheme: Scheme
    company: Company | None = None
    crew: Crew | None = None

    def __str__(self) -> str:
        if self.crew is not None:
            return str(self.crew.name)
        return self.company.name if self.company is not None else f"all of {self.scheme.name}"


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a series stands: the rules' state, and the sentence that says why."""

    state: SwitchingState
    why: str

    @property
    def severity(self) -> str:
        return self.state.severity

    @property
    def stopped(self) -> bool:
        return self.state.stopped


def subject_of(record: AuditRound) -> Subject:
    return Subject(record.scheme, record.company, record.crew)


def newest_step(subject: Subject) -> SwitchingStep | None:
    return SwitchingStep.objects.filter(
        scheme=subject.scheme, company=subject.company, crew=subject.crew
    ).first()


def standing_of(subject: Subject) -> Standing:
    """How the next lot of a series is inspected, and why."""
    step = newest_step(subject)
    if step is None:
        return Standing(SwitchingState(), FIRST_TIME)
    return Standing(state_of(step), step.why)


def state_of(step: SwitchingStep) -> SwitchingState:
    return SwitchingState(
        severity=step.severity,  # type: ignore[arg-type]
        recent=tuple(step.recent),
        score=step.score,
        missed_while_tightened=step.missed_while_tightened,
        stopped=step.stopped,
    )


def refuse_stopped(subject: Subject) -> Standing:
    """The standing, refused when inspection of the series is stopped."""
    standing = standing_of(subject)
    if standing.stopped:
        raise Conflict(
            f"Acceptance by sampling is stopped for {subject}.",
            field="plan",
            remedy="Resume it once the company has put matters right and the scheme agrees.",
        )
    return standing


def after_round(
    record: AuditRound, plan: InspectionPlan, defective: int, *, rejected: bool = False
) -> Standing:
    """Where the series would stand after a round; nothing is stored. rejected: whatever the plan
    says of so many defective jobs."""
    subject = subject_of(record)
    before = standing_of(subject)
    if before.stopped or before.severity != plan.severity:
        return Standing(
            before.state,
            f"{record.name} was inspected by a {plan.severity} plan while the series stands at "
            f"{'a stop' if before.stopped else before.severity}, so it does not count.",
        )
    after = after_lot(before.state, plan, defective, rejected=rejected)
    accepted = not rejected and plan.outcome(defective) == "accepted"
    return Standing(after, _why(record.name, before.state, after, accepted=accepted))


def move_on(
    record: AuditRound, plan: InspectionPlan, defective: int, *, rejected: bool = False
) -> SwitchingStep:
    """Store where the series stands after a round that is being closed."""
    after = after_round(record, plan, defective, rejected=rejected)
    return _store(subject_of(record), after, record.auditor, record)


def begin_series(record: AuditRound) -> None:
    """Store that the auditor began a series at another than normal inspection, or goes on at
    normal where the rules allowed reduced."""
    subject = subject_of(record)
    is_plan = record.plan == AuditRound.Plan.ACCEPTANCE
    if is_plan and record.severity != standing_of(subject).severity:
        state = SwitchingState(severity=record.severity)  # type: ignore[arg-type]
        _store(subject, Standing(state, record.severity_reason), record.auditor)


def resume_inspection(subject: Subject, by: User, reason: str) -> SwitchingStep:
    """Go on after a stop, tightened from the start: the company has acted, the scheme agrees.

    Raises:
        Refused: no reason. Conflict: inspection is not stopped.
    """
    if not reason.strip():
        raise Refused("Say what the company has changed.", field="reason")
    before = standing_of(subject)
    if not before.stopped:
        raise Conflict(f"Inspection is not stopped for {subject}.")
    with refusals_explained():
        standing = Standing(resume(before.state), f"Resumed: {reason.strip()}"[:300])
        return _store(subject, standing, by)


def _store(
    subject: Subject, standing: Standing, by: User, record: AuditRound | None = None
) -> SwitchingStep:
    state = standing.state
    return SwitchingStep.objects.create(
        scheme=subject.scheme,
        company=subject.company,
        crew=subject.crew,
        round=record,
        severity=state.severity,
        recent=list(state.recent),
        score=state.score,
        missed_while_tightened=state.missed_while_tightened,
        stopped=state.stopped,
        why=standing.why,
        recorded_by=by,
    )


def _lots_in_which_another_tightens(recent: tuple[bool, ...]) -> int:
    """How many lots more the one that was not accepted stays among five in a row."""
    return WATCHED_LOTS - (len(recent) - recent.index(False)) if False in recent else 0


def _why(name: str, before: SwitchingState, after: SwitchingState, *, accepted: bool) -> str:
    """The sentence for the next round, by the rule that moved the series or let it stay."""
    ended = f"{name} was {'accepted' if accepted else 'not accepted'}"
    if after.stopped:
        return f"{ended}, the fifth while tightened: inspection stops until matters are put right."
    moved = (before.severity, after.severity)
    if moved == ("normal", "tightened"):
        return f"{ended}: two of five or fewer lots in a row were not, so inspection is tightened."
    if moved == ("tightened", "normal"):
        return f"{ended}, the fifth in a row: inspection is normal again."
    if moved == ("normal", "reduced"):
        return (
            f"{ended}, and the switching score reached {SCORE_FOR_REDUCED}: inspection is reduced."
        )
    if moved == ("reduced", "normal"):
        return f"{ended}: one lot that is not ends reduced inspection."
    if after.severity == "normal":
        if not accepted:
            return f"{ended}: one more like it within five rounds, and inspection is tightened."
        if left := _lots_in_which_another_tightens(after.recent):
            rounds = "the next round" if left == 1 else f"one of the next {left} rounds"
            return f"{ended}, but one before it was not: if {rounds} is not, it is tightened."
        return f"{ended}; the switching score is {after.score} of {SCORE_FOR_REDUCED}."
    if after.severity == "tightened":
        in_row = (*after.recent[::-1], False).index(False)
        if not accepted:
            missed = after.missed_while_tightened
            return f"{ended}: {missed} of the 5 while tightened that stop inspection."
        return f"{ended}; {in_row} of 5 in a row accepted while tightened."
    return f"{ended}; inspection stays reduced."
