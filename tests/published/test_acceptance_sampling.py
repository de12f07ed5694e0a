"""Single sampling plans against the tables of ISO 2859-1 and MIL-STD-105E."""

from __future__ import annotations

import pytest

from calculations.sampling import (
    SwitchingState,
    after_lot,
    code_letter,
    inspection_plan,
)
from calculations.sampling.tables import Level, Severity

LOTS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000)
FIRST = (2, 9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10_001, 35_001)


@pytest.mark.parametrize(
    ("level", "letters"),
    [
        ("I", "A A B C C D E F G H J K L M N"),
        ("II", "A B C D E F G H J K L M N P Q"),
        ("III", "B C D E F G H J K L M N P Q R"),
    ],
)
def test_code_letters(level: Level, letters: str) -> None:
    """MIL-STD-105E, Table I (the same as ISO 2859-1:1999, Table 1), general levels."""
    firsts = (*FIRST, 150_001, 500_001)
    lasts = (*LOTS, 500_000, 2_000_000)
    assert " ".join(code_letter(lot, level) for lot in firsts) == letters
    assert " ".join(code_letter(lot, level) for lot in lasts) == letters


@pytest.mark.parametrize(
    ("aql", "plans"),
    [
        (1.0, "13/0 13/0 13/0 13/0 13/0 13/0 50/1 50/1 80/2 125/3 200/5 315/7 500/10"),
        (2.5, "5/0 5/0 5/0 5/0 20/1 20/1 32/2 50/3 80/5 125/7 200/10 315/14 500/21"),
        (4.0, "3/0 3/0 3/0 13/1 13/1 20/2 32/3 50/5 80/7 125/10 200/14 315/21 315/21"),
    ],
)
def test_normal_inspection_level_two(aql: float, plans: str) -> None:
    """MIL-STD-105E, Tables I and II-A, level II, arrows followed, Re = Ac + 1: n/Ac by lot.

    Where the table's sample is as large as the lot the whole lot is inspected (n = N).
    """
    for lots in (FIRST, LOTS):
        for lot, wanted in zip(lots, plans.split(), strict=True):
            size, accept = map(int, wanted.split("/"))
            plan = inspection_plan(lot, aql)
            assert (plan.sample_size, plan.accept) == (min(size, lot), accept), lot
            assert plan.reject == plan.accept + 1
            assert plan.inspect_all == (size >= lot)


@pytest.mark.parametrize(
    ("aql", "plans"),
    [
        (0.65, "G32/1 K125/2 L200/3"),
        (1.0, "F20/1 J80/2 K125/3"),
        (1.5, "E13/1 H50/2 J80/3 K125/4"),
        (2.5, "D8/1 G32/2 H50/3 J80/4 K125/6"),
        (4.0, "C5/1 F20/2 G32/3 H50/4 J80/6 K125/9"),
        (6.5, "B3/1 E13/2 F20/3 G32/4 H50/6 J80/9 K125/13"),
        (10.0, "D8/2 E13/3 F20/4 G32/6 H50/9 J80/13 K125/19"),
    ],
)
def test_tightened_inspection(aql: float, plans: str) -> None:
    """MIL-STD-105E, Table II-B, as n and Re by code letter in a copy of the table for level III
    single tightened plans, Table 1-B of the quality surveillance tables that the National
    Institute of Building Sciences published for the US Army (read there)."""
    lots = {code_letter(lot, "III"): lot for lot in LOTS}
    for wanted in plans.split():
        letter, (size, reject) = wanted[0], map(int, wanted[1:].split("/"))
        plan = inspection_plan(lots[letter], aql, "III", "tightened")
        assert plan.code_letter == letter
        assert plan.sample_size == min(size, lots[letter])
        assert (plan.accept, plan.reject) == (reject - 1, reject)


@pytest.mark.parametrize(
    ("letter_lot", "aql", "size", "accept", "reject"),
    [
        (90, 1.0, 5, 0, 1),
        (150, 1.0, 5, 0, 1),
        (280, 1.0, 20, 0, 2),
        (500, 1.0, 20, 0, 2),
        (1200, 1.0, 32, 1, 3),
        (3200, 1.0, 50, 1, 4),
        (10_000, 1.0, 80, 2, 5),
        (35_000, 1.0, 125, 3, 6),
        (150_000, 1.0, 200, 5, 8),
        (500_000, 1.0, 315, 7, 10),
        (600_000, 1.0, 500, 10, 13),
        (1200, 4.0, 32, 3, 6),
    ],
)
def test_reduced_inspection(
    letter_lot: int, aql: float, size: int, accept: int, reject: int
) -> None:
    """MIL-STD-105E, Table II-C (as a third party copied it), level II by lot size.

    ISO 2859-1:1999 has no gap between Ac and Re in reduced inspection; its own numbers
    were not at hand, so the older table's stand."""
    plan = inspection_plan(letter_lot, aql, "II", "reduced")
    assert (plan.sample_size, plan.accept, plan.reject) == (size, accept, reject)


@pytest.mark.parametrize(
    ("severity", "sizes"),
    [
        ("normal", (13, 125, 1250)),
        ("tightened", (20, 200, 2000)),
        ("reduced", (5, 50, 500)),
    ],
)
def test_accept_on_none_plans_grow_tenfold_with_a_tenth_of_the_aql(
    severity: Severity, sizes: tuple[int, int, int]
) -> None:
    """MIL-STD-105E, Tables II-A to II-C: n of the Ac = 0 plans for AQL 1.0, 0.10, 0.010."""
    for aql, size in zip((1.0, 0.10, 0.010), sizes, strict=True):
        plan = inspection_plan(100, aql, "I", severity)
        assert (plan.accept, plan.sample_size) == (0, min(size, 100))


def test_switching_between_severities() -> None:
    """ISO 2859-1:1999, clause 9.3 in outline (as widely published): 2 of 5 consecutive lots
    not accepted tightens, 5 accepted relax, 5 not accepted while tightened stop. Score steps
    of clause 9.3.3.2 from memory: 3 a lot here (Ac = 5), so 10 good lots reach 30."""
    good, bad = 0, 80
    state = SwitchingState()
    for found in (bad, good, good, good):
        state = after_lot(state, inspection_plan(1000, 2.5), found)
    assert state.severity == "normal"
    state = after_lot(state, inspection_plan(1000, 2.5), bad)
    assert state.severity == "tightened"
    for _ in range(4):
        state = after_lot(state, inspection_plan(1000, 2.5, severity="tightened"), good)
    assert state.severity == "tightened"
    state = after_lot(state, inspection_plan(1000, 2.5, severity="tightened"), good)
    assert (state.severity, state.score) == ("normal", 0)
    for _ in range(9):
        state = after_lot(state, inspection_plan(1000, 2.5), good)
    assert (state.severity, state.score) == ("normal", 27)
    state = after_lot(state, inspection_plan(1000, 2.5), good)
    assert state.severity == "reduced"
    state = after_lot(state, inspection_plan(1000, 2.5, severity="reduced"), 32)
    assert state.severity == "normal"
