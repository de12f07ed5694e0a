"""Whether draws are fair: uniform, independent, unbiased, and beyond the reach of either side.

Chi-square as in Knuth, The Art of Computer Programming 2, 3.3.1 B: a p-value under 0.001 would
be cause for doubt. Inclusion chances of a stratified sample: Cochran, Sampling Techniques (3rd
ed., 1977), chapters 2 and 5; weights one over them: Horvitz and Thompson, Journal of the American
Statistical Association 47 (1952), 663-685.
"""

from __future__ import annotations

import hashlib
import random
from fractions import Fraction
from itertools import combinations, product
from math import comb, exp, log

import numpy as np
import pytest
from scipy.stats import chi2, chi2_contingency, chisquare, hypergeom

from calculations.sampling import (
    PopulationLine,
    SamplingError,
    Severity,
    Stratum,
    StratumResult,
    chance_of_acceptance,
    commit_nonce,
    confidence_sample_size,
    confidence_strata,
    draw_from,
    draw_seed,
    inspection_plan,
    keeps_commitment,
    strata_of,
    stratified_rate,
    weighted_defective,
    widened,
    worst_chance_of_none,
)
from tests.published.many_draws import many_draws, seed_of, seed_of_stratum

DRAWS = 100_000
DOUBTFUL = 0.001
CALM, RISKY = 14, 6
LINES = [
    *(PopulationLine(f"J-{i:06d}", "Calm") for i in range(CALM)),
    *(PopulationLine(f"J-{i:06d}", "Risky", 3.0) for i in range(CALM, CALM + RISKY)),
]
BAD = {3, 4, 15, 17, 19}


@pytest.fixture(scope="module")
def seeds() -> list[bytes]:
    return [hashlib.sha256(i.to_bytes(8, "big")).digest() for i in range(DRAWS)]


@pytest.fixture(scope="module")
def strata() -> tuple[Stratum, ...]:
    """Nine of twenty, by risk, so that the risky stratum is looked at harder; twice as many after
    a widening, as far as it has them."""
    found = strata_of(LINES, 9, "risk")
    assert [(s.population, s.sample) for s in found] == [(CALM, 4), (RISKY, 5)]
    return found


@pytest.fixture(scope="module")
def sequences(seeds: list[bytes], strata: tuple[Stratum, ...]) -> dict[str, np.ndarray]:
    """The draws of each stratum with one widening: a row for each seed, jobs by their number."""
    first = {"Calm": 0, "Risky": CALM}
    return {
        s.name: first[s.name]
        + many_draws([seed_of_stratum(seed, s.name) for seed in seeds], s.population, s.sample)
        for s in widened(strata)
    }


def held(sequences: dict[str, np.ndarray], strata: tuple[Stratum, ...]) -> np.ndarray:
    """Whether each draw (row) holds each job (column)."""
    found = np.zeros((DRAWS, CALM + RISKY), dtype=bool)
    for s in strata:
        rows = np.repeat(np.arange(DRAWS), s.sample)
        found[rows, sequences[s.name][:, : s.sample].ravel()] = True
    return found


def test_the_engine_draws_what_its_description_says(
    seeds: list[bytes], strata: tuple[Stratum, ...], sequences: dict[str, np.ndarray]
) -> None:
    """Written anew from the description at the top of `calculations.sampling.draws`."""
    for row in range(0, DRAWS, 500):
        drawn = draw_from(seeds[row], LINES, strata, widenings=1)
        mine: list[int] = []
        before = {s.name: 0 for s in strata}
        for stage in (strata, widened(strata)):
            for s in stage:
                mine += sequences[s.name][row, before[s.name] : s.sample].tolist()
                before[s.name] = s.sample
        assert [job.name for job in drawn] == [f"J-{number:06d}" for number in mine]
    nonce, root = bytes(range(32)), hashlib.sha256(b"root").digest()
    assert seed_of(nonce, root, "round-7") == draw_seed(nonce, root, "round-7")


def test_a_hundred_thousand_draws_are_uniform(seeds: list[bytes]) -> None:
    """Chi-square for the first place, each later place, and every pair drawn, 3 of 10."""
    drawn = many_draws(seeds, 10, 3)
    for place in range(3):
        assert chisquare(np.bincount(drawn[:, place], minlength=10)).pvalue > DOUBTFUL
    pairs = np.zeros((10, 10))
    for a, b in combinations(range(3), 2):
        np.add.at(pairs, tuple(np.sort(drawn[:, [a, b]], axis=1).T), 1)
    assert chisquare(pairs[np.triu_indices(10, 1)]).pvalue > DOUBTFUL


def test_draws_of_one_seed_and_the_next_are_independent(seeds: list[bytes]) -> None:
    """Chi-square of independence between the first job of one draw and of the next, and between
    neighbouring rounds of one nonce and one Seal."""
    alone = many_draws(seeds, 10, 1)[:, 0]
    nonce, root = bytes(range(32)), hashlib.sha256(b"root").digest()
    rounds = [seed_of(nonce, root, f"round-{i}") for i in range(20_000)]
    for row in (alone, many_draws(rounds, 10, 1)[:, 0]):
        table = np.zeros((10, 10))
        np.add.at(table, (row[:-1:2], row[1::2]), 1)
        assert chi2_contingency(table).pvalue > DOUBTFUL


def test_each_stratum_gives_every_job_its_chance(
    strata: tuple[Stratum, ...], sequences: dict[str, np.ndarray]
) -> None:
    """First-order chances n_h / N_h; of pairs n_h (n_h - 1) / N_h (N_h - 1) within a stratum and
    the product between strata (Cochran, 2.4 and 5.2): before a widening and after it."""
    for stage in (strata, widened(strata)):
        inside = held(sequences, stage)
        for s, of in zip(stage, (slice(0, CALM), slice(CALM, None)), strict=True):
            share = inside[:, of].mean(axis=0)
            wanted = s.sample / s.population
            if s.sample == s.population:
                assert share.min() == 1
                continue
            # Of n_h drawn without replacement the counts vary less than a multinomial's.
            spread = DRAWS * (share - wanted) ** 2 / (wanted * (1 - wanted))
            scale = (s.population - 1) / s.population
            assert chi2.sf(spread.sum() * scale, s.population - 1) > DOUBTFUL
            together = (inside[:, of].T.astype(float) @ inside[:, of]) / DRAWS
            pair = wanted * (s.sample - 1) / (s.population - 1)
            apart = together[np.triu_indices(s.population, 1)] - pair
            assert np.abs(apart).max() < 5 * (pair * (1 - pair) / DRAWS) ** 0.5
    inside = held(sequences, strata)
    between = (inside[:, :CALM].T.astype(float) @ inside[:, CALM:]) / DRAWS
    expected = np.prod([s.sample / s.population for s in strata])
    assert np.abs(between - expected).max() < 5 * (expected * (1 - expected) / DRAWS) ** 0.5


def test_weights_take_the_harder_look_out_again(
    strata: tuple[Stratum, ...], sequences: dict[str, np.ndarray]
) -> None:
    """Horvitz and Thompson: the mean of the weighted estimate over 100,000 risk-weighted draws is
    the true share, and is still after a widening; the plain share of the sample is not."""
    bad = np.isin(np.arange(CALM + RISKY), list(BAD))
    for stage in (strata, widened(strata)):
        weights = np.repeat([s.weight for s in stage], [CALM, RISKY])
        estimates = held(sequences, stage) @ (bad * weights) / (CALM + RISKY)
        error = estimates.std() / DRAWS**0.5
        assert abs(estimates.mean() - bad.mean()) < 4 * error
    plain = held(sequences, strata)[:, bad].sum(axis=1) / 9
    assert plain.mean() - bad.mean() > 20 * plain.std() / DRAWS**0.5


def test_the_estimate_is_the_sum_of_weights(strata: tuple[Stratum, ...]) -> None:
    """`stratified_rate` and the weights kept with drawn jobs say the same (Cochran, 5.3)."""
    drawn = draw_from(b"\7" * 32, LINES, strata)
    by_weight = sum(job.weight for job in drawn if int(job.name[2:]) in BAD) / len(LINES)
    results = [
        StratumResult(
            s.name,
            s.population,
            s.sample,
            sum(int(job.name[2:]) in BAD for job in drawn if job.stratum == s.name),
        )
        for s in strata
    ]
    assert stratified_rate(results).estimate == pytest.approx(by_weight)
    assert weighted_defective(results) == pytest.approx(by_weight * len(drawn))


# --- Operating characteristics


@pytest.mark.parametrize(
    ("severity", "aql", "lot", "defective"),
    [
        ("normal", 2.5, 140, 8),
        ("tightened", 6.5, 140, 9),
        ("reduced", 6.5, 140, 20),
    ],
)
def test_the_operating_characteristic_by_simulation(
    seeds: list[bytes], severity: Severity, aql: float, lot: int, defective: int
) -> None:
    """Share of 10,000 drawn samples that each plan accepts, against the hypergeometric chance of
    scipy.stats (the first jobs by name are the defective ones)."""
    plan = inspection_plan(lot, aql, severity=severity)
    drawn = many_draws(seeds[:10_000], lot, plan.sample_size)
    accepted = ((drawn < defective).sum(axis=1) <= plan.accept).mean()
    exact = hypergeom.cdf(plan.accept, lot, defective, plan.sample_size)
    assert chance_of_acceptance(plan, defective) == pytest.approx(exact, abs=1e-9)
    assert 0.05 < exact < 0.95
    assert abs(accepted - exact) < 4 * (exact * (1 - exact) / 10_000) ** 0.5


@pytest.mark.parametrize(
    ("aql", "accept", "means"),
    [
        (0.10, 0, (0.051, 0.693, 2.303)),
        (0.40, 1, (0.355, 1.678, 3.890)),
        (0.65, 2, (0.818, 2.674, 5.322)),
        (1.0, 3, (1.366, 3.672, 6.681)),
        (1.5, 5, (2.613, 5.670, 9.275)),
        (2.5, 7, (3.981, 7.669, 11.771)),
        (4.0, 10, (6.169, 10.668, 15.407)),
    ],
)
def test_points_of_operating_characteristics(
    aql: float, accept: int, means: tuple[float, float, float]
) -> None:
    """n p at which a plan accepts 95, 50 and 10 % of lots: Cameron, Tables for constructing and
    for computing the operating characteristics of single-sampling plans, Industrial Quality
    Control 9 (1952), 37-39 (from memory; Poisson). Letter K, n = 125, in a lot so great that
    binomial and Poisson differ by little."""
    plan = inspection_plan(3000, aql)
    assert (plan.code_letter, plan.sample_size, plan.accept) == ("K", 125, accept)
    great = inspection_plan(1_000_000, aql)
    same = type(plan)(**{**plan.to_dict(), "lot_size": great.lot_size})
    for mean, chance in zip(means, (0.95, 0.50, 0.10), strict=True):
        defective = round(mean / 125 * same.lot_size)
        assert chance_of_acceptance(same, defective) == pytest.approx(chance, abs=0.02)


# --- Sure in every stratum


@pytest.mark.parametrize(("lot", "share"), [(60, 0.1), (320, 0.05), (1000, 0.02)])
def test_one_stratum_needs_what_the_hypergeometric_sample_needs(lot: int, share: float) -> None:
    """`confidence_sample_size` is held to scipy in test_defect_limits."""
    lines = [PopulationLine(f"J-{i:06d}") for i in range(lot)]
    (only,) = confidence_strata(lines, 0.95, share)
    assert only.sample == confidence_sample_size(lot, 0.95, share)


@pytest.mark.parametrize("defective", [1, 3, 5])
def test_the_worst_way_to_hide_is_found(defective: int) -> None:
    """Against every way in which the defective jobs can lie, counted exactly."""
    strata = (Stratum("a", 12, 12.0, 3), Stratum("b", 7, 7.0, 1), Stratum("c", 4, 4.0, 4))

    def chance(ways: tuple[int, ...]) -> Fraction:
        found = Fraction(1)
        for s, bad in zip(strata, ways, strict=True):
            found *= Fraction(comb(s.population - bad, s.sample), comb(s.population, s.sample))
        return found

    ways = product(*(range(s.population + 1) for s in strata))
    worst = max(chance(way) for way in ways if sum(way) == defective)
    assert exp(worst_chance_of_none(strata, defective)) == pytest.approx(float(worst))


def test_a_stratified_sample_makes_as_sure_and_one_less_does_not() -> None:
    """Looking harder at one stratum leaves the others more room to hide, so it takes more jobs."""
    lines = [
        PopulationLine(f"J-{i:06d}", "ab"[i % 5 == 0], 1 + 3 * (i % 5 == 0)) for i in range(300)
    ]
    alike = confidence_strata(lines, 0.95, 0.05)
    risky = confidence_strata(lines, 0.95, 0.05, "risk")
    sizes = [sum(s.sample for s in strata) for strata in (alike, risky)]
    assert confidence_sample_size(300, 0.95, 0.05) <= sizes[0] < sizes[1]
    assert worst_chance_of_none(risky, 16) <= log(0.05)
    assert worst_chance_of_none(strata_of(lines, sizes[1] - 1, "risk"), 16) > log(0.05)


# --- Neither side can steer

TRIES, TRIALS = 40, 2000


def tokens(label: str, trial: int = 0) -> list[bytes]:
    """A random number of 32 bytes for each trial, by what it is for."""
    source = random.Random(f"{label} {trial}")
    return [source.randbytes(32) for _ in range(TRIALS)]


def draws_target(nonces: list[bytes], roots: list[bytes], jobs: int) -> np.ndarray:
    """Whether each trial's draw of 8 holds the target, which is number 7."""
    seeds = [seed_of(nonce, root, "r") for nonce, root in zip(nonces, roots, strict=True)]
    return (many_draws(seeds, jobs, 8) == 7).any(axis=1)


def test_the_company_gains_nothing_by_trying_lists_and_moments() -> None:
    """It knows all but the nonce. It tries 40 Seals, by the moment and by adding or leaving out
    jobs, and keeps the first that spares its bad job under a nonce it guessed; under the real one
    the bad job is drawn as often as chance has it."""
    guess, real = tokens("guessed nonce"), tokens("real nonce")
    jobs = np.array([30 + i % 11 for i in range(TRIES)])
    roots = [tokens("root", i) for i in range(TRIES)]
    spared = ~np.array([draws_target(guess, roots[i], jobs[i]) for i in range(TRIES)])
    assert spared.any(axis=0).all()
    kept = np.argmax(spared, axis=0)
    hits = np.array([draws_target(real, roots[i], jobs[i]) for i in range(TRIES)])
    chance = 8 / jobs[kept]
    off = hits[kept, np.arange(TRIALS)].sum() - chance.sum()
    assert abs(off) < 4 * (chance * (1 - chance)).sum() ** 0.5


def test_the_auditor_gains_nothing_by_trying_nonces() -> None:
    """It knows the list and every Seal so far, but not the one to come. It commits to the first
    of 40 nonces that draws its target under the last root; under the next root that is worth
    nothing, and another nonce does not keep the commitment."""
    last, to_come = tokens("last root"), tokens("root to come")
    nonces = [tokens("nonce", i) for i in range(TRIES)]
    wanted = np.array([draws_target(nonces[i], last, 40) for i in range(TRIES)])
    assert wanted.any(axis=0).mean() > 0.99
    kept = np.argmax(wanted, axis=0)
    hits = np.array([draws_target(nonces[i], to_come, 40) for i in range(TRIES)])
    share = hits[kept, np.arange(TRIALS)].mean()
    assert abs(share - 0.2) < 4 * (0.2 * 0.8 / TRIALS) ** 0.5
    commitment = commit_nonce(bytes(32))
    assert not any(keeps_commitment(commitment, nonce) for nonce in tokens("another"))


def test_a_job_moved_to_another_stratum_before_the_seal_is_drawn_by_the_new_chance() -> None:
    """All that the company can reach is what stands in the sealed list; its chance is that of the
    stratum it stands in, whatever nonce comes."""
    strata = (Stratum("a", 30, 30.0, 3), Stratum("b", 10, 10.0, 5))
    lines = [PopulationLine(f"J-{i:06d}", "a" if i < 30 else "b") for i in range(40)]
    hits = sum(
        any(job.name == "J-000029" for job in draw_from(i.to_bytes(32, "big"), lines, strata))
        for i in range(3000)
    )
    assert abs(hits / 3000 - 0.1) < 4 * (0.1 * 0.9 / 3000) ** 0.5


def test_a_sample_smaller_than_its_strata_is_refused() -> None:
    with pytest.raises(SamplingError, match="size"):
        strata_of(LINES, 1)
