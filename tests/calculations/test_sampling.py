"""Draws that nobody can steer, plans, switching and estimates."""

from __future__ import annotations

import hashlib
import random
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculations.sampling import (
    AQLS,
    Level,
    SamplingError,
    Severity,
    StratumResult,
    SwitchingState,
    after_lot,
    allocate,
    chance_of_acceptance,
    commit_nonce,
    confidence_sample_size,
    defect_rate_limits,
    draw,
    draw_seed,
    draw_stratified,
    inspection_plan,
    keeps_commitment,
    resume,
    stratified_rate,
)
from calculations.sampling.__main__ import main

NONCE = bytes(range(32))
ROOT = hashlib.sha256(b"a seal").digest()
SEED = draw_seed(NONCE, ROOT, "2026-Q4")
JOBS = tuple(f"JOB-{i:05d}" for i in range(500))


def drawn_by_the_book(seed: bytes, population: list[str], size: int) -> list[str]:
    """The steps of the draw's description, written anew without looking at the code."""
    names = sorted(population, key=lambda name: name.encode("utf-8"))
    words: list[int] = []
    block = 0
    out = []
    for k in range(size):
        m = len(names) - k
        while True:
            if not words:
                digest = hashlib.sha256(seed + block.to_bytes(8, "big")).digest()
                words = [int.from_bytes(digest[i : i + 8], "big") for i in (0, 8, 16, 24)]
                block += 1
            word = words.pop(0)
            if word < (2**64 // m) * m:
                break
        names[k], names[k + word % m] = names[k + word % m], names[k]
        out.append(names[k])
    return out


@given(st.sets(st.text(min_size=1, max_size=6), max_size=30), st.binary(min_size=1), st.data())
def test_the_draw_is_what_its_description_says(
    population: set[str], seed: bytes, data: st.DataObject
) -> None:
    size = data.draw(st.integers(0, len(population)))
    assert list(draw(seed, list(population), size)) == drawn_by_the_book(
        seed, list(population), size
    )


def test_the_order_of_the_population_does_not_matter() -> None:
    shuffled = list(JOBS)
    random.Random(3).shuffle(shuffled)
    assert draw(SEED, shuffled, 40) == draw(SEED, JOBS, 40)


def test_a_longer_draw_begins_with_the_shorter_one() -> None:
    """Widening a sample adds jobs and drops none."""
    assert draw(SEED, JOBS, 80)[:32] == draw(SEED, JOBS, 32)


def test_a_whole_population_is_drawn_once_each() -> None:
    assert sorted(draw(SEED, JOBS, len(JOBS))) == list(JOBS)


@pytest.mark.parametrize(
    ("population", "size", "field"),
    [(("a", "a"), 1, "population"), (("a", "b"), 3, "size"), (("a",), -1, "size")],
)
def test_draws_that_cannot_be_are_refused(
    population: tuple[str, ...], size: int, field: str
) -> None:
    with pytest.raises(SamplingError) as caught:
        draw(SEED, population, size)
    assert caught.value.field == field


def test_another_nonce_breaks_the_commitment() -> None:
    commitment = commit_nonce(NONCE)
    assert commitment == hashlib.sha256(NONCE).digest()
    assert keeps_commitment(commitment, NONCE)
    assert not keeps_commitment(commitment, NONCE[::-1])
    with pytest.raises(SamplingError, match="auditor_nonce"):
        commit_nonce(b"too short")


@given(st.binary(min_size=16), st.binary(min_size=1), st.text(min_size=1))
def test_parts_of_a_seed_never_run_into_one_another(
    nonce: bytes, root: bytes, round_id: str
) -> None:
    assert draw_seed(nonce, root, round_id) != draw_seed(
        nonce + root[:1], root[1:] or b"x", round_id
    )


@pytest.mark.parametrize(
    ("nonce", "root", "round_id", "field"),
    [
        (b"short", ROOT, "r", "auditor_nonce"),
        (NONCE, b"", "r", "seal_root"),
        (NONCE, ROOT, "", "round_id"),
    ],
)
def test_weak_seeds_are_refused(nonce: bytes, root: bytes, round_id: str, field: str) -> None:
    with pytest.raises(SamplingError) as caught:
        draw_seed(nonce, root, round_id)
    assert caught.value.field == field


# Repeatable by anyone.


def test_the_command_line_repeats_the_draw(tmp_path: Path) -> None:
    names = tmp_path / "names.txt"
    names.write_text("\n".join(JOBS))
    command = [sys.executable, "-m", "calculations.sampling", "draw", "--nonce", NONCE.hex()]
    command += ["--seal", ROOT.hex(), "--round", "2026-Q4", "--size", "12"]
    command += ["--commitment", commit_nonce(NONCE).hex(), "--population", str(names)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert tuple(done.stdout.split()) == draw(SEED, JOBS, 12)
    assert "the nonce is the one committed to" in done.stderr
    assert hashlib.sha256(names.read_bytes()).hexdigest() in done.stderr


def test_the_command_line_refuses_a_broken_commitment(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = tmp_path / "names.txt"
    names.write_text("a\nb")
    arguments = ["draw", "--nonce", NONCE.hex(), "--seal", "00", "--round", "r", "--size", "1"]
    arguments += ["--population", str(names)]
    assert main([*arguments, "--commitment", "00" * 32]) == 1
    assert "Do not trust this draw" in capsys.readouterr().err
    assert main([*arguments[:2], "zz", *arguments[3:]]) == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["plan", "--lot", "320", "--aql", "2.5"], "inspect 50 of 320; accept on 3 or fewer"),
        (["confidence", "--lot", "320", "--share", "0.05"], "inspect 51 of 320"),
        (["limits", "--defects", "1", "--sample", "29"], "between 0.087% and 17.764%"),
    ],
)
def test_the_command_line_says_plans_and_limits(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 0
    assert said in capsys.readouterr().out


# Plans.


@pytest.mark.parametrize("severity", ["normal", "tightened", "reduced"])
@pytest.mark.parametrize("level", ["I", "II", "III"])
def test_of_two_samples_of_one_size_the_finer_aql_accepts_on_fewer(
    level: Level, severity: Severity
) -> None:
    compared = 0
    for lot in (20, 200, 1000, 5000, 100_000):
        plans = [inspection_plan(lot, aql, level, severity) for aql in AQLS]
        for finer, coarser in combinations(plans, 2):
            if finer.sample_size == coarser.sample_size < lot:
                compared += 1
                assert finer.accept <= coarser.accept
                assert finer.reject <= coarser.reject
    assert compared > 20


@pytest.mark.parametrize("aql", AQLS)
def test_tightened_inspection_accepts_no_more_easily_than_normal(aql: float) -> None:
    """Over every share defective, for lots large enough to be sampled by both."""
    for lot in (3_000, 30_000):
        normal = inspection_plan(lot, aql)
        tightened = inspection_plan(lot, aql, severity="tightened")
        for defective in range(0, lot, lot // 60):
            assert (
                chance_of_acceptance(tightened, defective)
                <= chance_of_acceptance(normal, defective) + 1e-12
            )


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((0, 1.0), "lot_size"),
        ((2.5, 1.0), "lot_size"),
        ((100, 3.0), "aql"),
        ((100, 1.0, "IV"), "level"),
        ((100, 1.0, "II", "strict"), "severity"),
    ],
)
def test_plans_that_do_not_exist_are_refused(arguments: tuple[object, ...], field: str) -> None:
    with pytest.raises(SamplingError) as caught:
        inspection_plan(*arguments)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_one_lot_not_accepted_ends_reduced_inspection() -> None:
    plan = inspection_plan(1200, 1.0, severity="reduced")
    reduced = SwitchingState(severity="reduced")
    assert after_lot(reduced, plan, plan.accept) == reduced
    assert after_lot(reduced, plan, plan.reject) == SwitchingState()


def test_five_lots_missed_while_tightened_stop_until_resumed() -> None:
    state = SwitchingState(severity="tightened")
    plan = inspection_plan(1000, 2.5, severity="tightened")
    for defective in (80, 0, 80, 0, 80, 0, 80):
        state = after_lot(state, plan, defective)
    assert not state.stopped
    state = after_lot(state, plan, 80)
    assert state.stopped
    with pytest.raises(SamplingError, match="stopped"):
        after_lot(state, plan, 0)
    assert resume(state) == SwitchingState(severity="tightened")
    with pytest.raises(SamplingError, match="not stopped"):
        resume(resume(state))


def test_a_lot_inspected_by_the_wrong_severity_is_refused() -> None:
    with pytest.raises(SamplingError, match="normal plan"):
        after_lot(SwitchingState(), inspection_plan(1000, 2.5, severity="reduced"), 0)


def test_a_lot_that_a_finer_aql_would_not_accept_sets_the_score_back() -> None:
    plan = inspection_plan(1000, 2.5)
    state = after_lot(after_lot(SwitchingState(), plan, 0), plan, 3)
    assert state.score == 6
    assert after_lot(state, plan, 4).score == 0
    assert after_lot(state, plan, 4).severity == "normal"


# Estimates.


@given(
    st.dictionaries(st.text(min_size=1, max_size=3), st.integers(1, 300), min_size=1, max_size=6),
    st.data(),
)
def test_shares_add_up_and_stay_within_each_stratum(
    populations: dict[str, int], data: st.DataObject
) -> None:
    size = data.draw(st.integers(len(populations), sum(populations.values())))
    risk = {name: data.draw(st.floats(0.1, 20)) for name in populations}
    shares = allocate(populations, size, risk)
    assert sum(shares.values()) == size
    assert all(1 <= shares[n] <= populations[n] for n in populations)


def test_shares_follow_population_and_risk() -> None:
    populations = {"north": 600, "south": 300, "west": 100}
    assert allocate(populations, 50) == {"north": 30, "south": 15, "west": 5}
    risky = allocate(populations, 50, {"west": 9.0})
    assert risky == {"north": 17, "south": 8, "west": 25}


def test_a_sample_too_small_for_its_strata_is_refused() -> None:
    with pytest.raises(SamplingError, match="size"):
        allocate({"a": 10, "b": 10}, 1)
    with pytest.raises(SamplingError, match="risk"):
        allocate({"a": 10}, 1, {"a": 0.0})


@pytest.mark.parametrize(("calm", "risky"), [(27, 20), (9, 3), (90, 40)])
def test_stratified_limits_hold_the_true_rate_as_often_as_they_say(calm: int, risky: int) -> None:
    """1,000 risk-weighted draws of 80 from 1,000 jobs; the limits are wide of 95 %, not narrow."""
    strata = {"calm": [f"c{i}" for i in range(900)], "risky": [f"r{i}" for i in range(100)]}
    bad = {*strata["calm"][:calm], *strata["risky"][:risky]}
    sizes = allocate({k: len(v) for k, v in strata.items()}, 80, {"risky": 9.0})
    held = 0
    for i in range(1000):
        found = draw_stratified(i.to_bytes(4, "big"), strata, sizes)
        limits = stratified_rate(
            [
                StratumResult(k, len(strata[k]), len(v), len(bad.intersection(v)))
                for k, v in found.items()
            ]
        )
        held += limits.low <= len(bad) / 1000 <= limits.high
    assert held >= 950


def test_one_stratum_has_the_exact_finite_limits() -> None:
    one = stratified_rate([StratumResult("all", 200, 50, 2)])
    assert one == defect_rate_limits(2, 50, 200)


def test_stratified_limits_surround_the_estimate_and_narrow_with_the_sample() -> None:
    few = stratified_rate([StratumResult("a", 500, 20, 1), StratumResult("b", 500, 20, 3)])
    many = stratified_rate([StratumResult("a", 500, 200, 10), StratumResult("b", 500, 200, 30)])
    assert few.low < few.estimate < few.high
    assert many.high - many.low < few.high - few.low


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((3, 2, 10), "defects"),
        ((0, 0, 10), "sample"),
        ((0, 11, 10), "lot"),
        ((0, 5, 10, 1.0), "confidence"),
    ],
)
def test_limits_that_cannot_be_are_refused(arguments: tuple[int, ...], field: str) -> None:
    with pytest.raises(SamplingError) as caught:
        defect_rate_limits(*arguments)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((0, 0.95, 0.05), "lot_size"),
        ((10, 1.0, 0.05), "confidence"),
        ((10, 0.9, 1.0), "defective_share"),
    ],
)
def test_confidence_samples_that_cannot_be_are_refused(
    arguments: tuple[int, float, float], field: str
) -> None:
    with pytest.raises(SamplingError) as caught:
        confidence_sample_size(*arguments)
    assert caught.value.field == field
