"""When a search stops: each rule by itself, and together."""

from __future__ import annotations

from jobs.planning.solving.stopping import (
    AfterIterations,
    AfterProcessorSeconds,
    AfterSeconds,
    AnyOf,
    NoImprovement,
    Pacing,
    Progress,
    WhenAsked,
    steps_left,
)


def progress(**changes: float) -> Progress:
    made = Progress.begin()
    for name, value in changes.items():
        setattr(made, name, value)
    return made


def test_after_so_many_steps() -> None:
    rule = AfterIterations(10)
    assert not rule(progress(iterations=9))
    assert rule(progress(iterations=10))


def test_after_so_many_steps_without_anything_better() -> None:
    rule = NoImprovement(5)
    assert not rule(progress(iterations=50, since_better=4))
    assert rule(progress(iterations=50, since_better=5))


def test_after_so_many_seconds_of_clock_or_processor() -> None:
    """An hour of either is not over at the start, and is once the start lies an hour back."""
    begun = Progress.begin()
    assert not AfterSeconds(3600)(begun)
    assert not AfterProcessorSeconds(3600)(begun)
    begun.started_at_s -= 3600
    begun.started_processor_s -= 3600
    assert AfterSeconds(3600)(begun)
    assert AfterProcessorSeconds(3600)(begun)


def test_when_asked() -> None:
    answers = iter((False, True))
    rule = WhenAsked(lambda: next(answers))
    assert not rule(progress())
    assert rule(progress())


def test_whichever_comes_first() -> None:
    rule = AnyOf((AfterIterations(10), NoImprovement(5)))
    assert not rule(progress(iterations=9, since_better=4))
    assert rule(progress(iterations=9, since_better=5))
    assert rule(progress(iterations=10, since_better=0))


def test_something_costly_is_done_at_once_and_then_not_for_a_while() -> None:
    """An hour between two times: not due a moment later, due when the start lies an hour back."""
    begun = Progress.begin()
    pacing = Pacing(least_s=3600)
    assert pacing.is_due(begun)
    pacing.done(begun)
    assert not pacing.is_due(begun)
    begun.started_processor_s -= 2 * 3600
    assert pacing.is_due(begun)


def test_what_takes_long_is_done_more_rarely() -> None:
    """It took 100 s, so the next time is 900 s later, though once a second would be allowed."""
    begun = Progress.begin()
    pacing = Pacing(least_s=1)
    assert pacing.is_due(begun)
    begun.started_processor_s -= 100
    pacing.done(begun)
    begun.started_processor_s -= 800
    assert not pacing.is_due(begun)
    begun.started_processor_s -= 200
    assert pacing.is_due(begun)


def test_how_many_steps_are_left_at_most() -> None:
    """Of several rules the first to say yes counts; one that goes by time promises nothing."""
    now = progress(iterations=7, since_better=4)
    assert steps_left(AfterIterations(10), now) == 3
    assert steps_left(NoImprovement(5), now) == 1
    assert steps_left(AfterIterations(2), now) == 0
    assert steps_left(AfterSeconds(1), now) is None
    assert steps_left(AnyOf((AfterSeconds(1), AfterIterations(10), NoImprovement(5))), now) == 1
