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


def own_plan(letter: str, aql: float, severity: Severity) -> tuple[int, int, int, bool]:
    """n, Ac, Re of a code letter, and whether no arrow led away from it; by a lot of level III."""
    firsts = (*FIRST, 150_001, 500_001)
    lot = {code_letter(lot, "III"): lot for lot in (*LOTS, 500_000, *firsts[-1:])}[letter]
    plan = inspection_plan(lot, aql, "III", severity)
    assert plan.code_letter == letter
    return plan.sample_size, plan.accept, plan.reject, plan.sample_size == SIZE_OF[severity][letter]


SIZE_OF: dict[str, dict[str, int]] = {
    "normal": dict(
        zip(
            "BCDEFGHJKLMNPQR",
            (3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
            strict=True,
        )
    ),
    "reduced": dict(
        zip(
            "BCDEFGHJKLMNPQR",
            (2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
            strict=True,
        )
    ),
}
SIZE_OF["tightened"] = SIZE_OF["normal"]


@pytest.mark.parametrize(
    ("aql", "accept_by_letter"),
    [
        (0.10, "K0 N1 P2 Q3 R5"),
        (0.15, "J0 M1 N2 P3 Q5 R7"),
        (0.25, "H0 L1 M2 N3 P5 Q7 R10"),
        (0.40, "G0 K1 L2 M3 N5 P7 Q10 R14"),
        (0.65, "F0 J1 K2 L3 M5 N7 P10 Q14 R21"),
        (1.0, "E0 H1 J2 K3 L5 M7 N10 P14 Q21"),
        (1.5, "D0 G1 H2 J3 K5 L7 M10 N14 P21"),
        (2.5, "C0 F1 G2 H3 J5 K7 L10 M14 N21"),
        (4.0, "B0 E1 F2 G3 H5 J7 K10 L14 M21"),
        (6.5, "D1 E2 F3 G5 H7 J10 K14 L21"),
        (10.0, "C1 D2 E3 F5 G7 H10 J14 K21"),
    ],
)
def test_the_master_table_of_normal_inspection(aql: float, accept_by_letter: str) -> None:
    """MIL-STD-105E, Table II-A = ISO 2859-1:1999, Table 2-A, the cells that hold numbers, as in
    the charts that inspection houses print (from memory of those charts)."""
    for cell in accept_by_letter.split():
        letter, accept = cell[0], int(cell[1:])
        assert own_plan(letter, aql, "normal")[1:] == (accept, accept + 1, True), cell


@pytest.mark.parametrize(
    ("aql", "accept_by_letter"),
    [
        (0.10, "L0 P1 Q2 R3"),
        (0.15, "K0 N1 P2 Q3 R5"),
        (0.25, "J0 M1 N2 P3 Q5 R8"),
        (0.40, "H0 L1 M2 N3 P5 Q8 R12"),
        (0.65, "G0 K1 L2 M3 N5 P8 Q12 R18"),
        (1.0, "F0 J1 K2 L3 M5 N8 P12 Q18"),
        (2.5, "D0 G1 H2 J3 K5 L8 M12 N18"),
        (4.0, "C0 F1 G2 H3 J5 K8 L12 M18"),
    ],
)
def test_the_master_table_of_tightened_inspection(aql: float, accept_by_letter: str) -> None:
    """MIL-STD-105E, Table II-B = ISO 2859-1:1999, Table 2-B, the cells that hold numbers, as a
    third party's open source copied the table (read there)."""
    for cell in accept_by_letter.split():
        letter, accept = cell[0], int(cell[1:])
        assert own_plan(letter, aql, "tightened")[1:] == (accept, accept + 1, True), cell


@pytest.mark.parametrize(
    ("aql", "accept_by_letter"),
    [
        (0.10, "K0 P1 Q2 R3"),
        (0.15, "J0 N1 P2 Q3 R5"),
        (0.25, "H0 M1 N2 P3 Q5 R6"),
        (0.40, "G0 L1 M2 N3 P5 Q6 R8"),
        (0.65, "F0 K1 L2 M3 N5 P6 Q8 R10"),
        (1.0, "E0 J1 K2 L3 M5 N6 P8 Q10"),
        (1.5, "D0 H1 J2 K3 L5 M6 N8 P10"),
        (2.5, "C0 G1 H2 J3 K5 L6 M8 N10"),
        (4.0, "B0 F1 G2 H3 J5 K6 L8 M10"),
        (6.5, "E1 F2 G3 H5 J6 K8 L10"),
    ],
)
def test_the_master_table_of_reduced_inspection(aql: float, accept_by_letter: str) -> None:
    """ISO 2859-1:1999, Table 2-C, the cells that hold numbers, as a third party's open source
    copied the table (read there). That Re is Ac + 1 is said by the standard's foreword (read):
    reduced plans were changed to eliminate the gap."""
    for cell in accept_by_letter.split():
        letter, accept = cell[0], int(cell[1:])
        assert own_plan(letter, aql, "reduced")[1:] == (accept, accept + 1, True), cell


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


def test_a_lot_that_is_rejected_whatever_its_number_counts_as_not_accepted() -> None:
    """As for a critical finding (common practice, no published source); even in a lot of one job,
    where the plan's number is as large as the sample."""
    plan = inspection_plan(1, 10.0)
    assert plan.accept == plan.sample_size == 1
    state = after_lot(SwitchingState(score=12), plan, 1, rejected=True)
    assert (state.recent, state.score) == ((False,), 0)
    reduced = inspection_plan(1000, 2.5, severity="reduced")
    assert after_lot(SwitchingState("reduced"), reduced, 0, rejected=True).severity == "normal"
