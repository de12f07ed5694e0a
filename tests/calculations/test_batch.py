"""Verdicts over arrays are the verdicts of the single path, bit for bit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calculations.batch import DepthBatch, assess_batch, batch_of, join
from calculations.checks import InputError
from calculations.depth_rule import VERDICTS
from calculations.depths import (
    DepthError,
    DepthRequirement,
    DepthVerdict,
    Reading,
    assess_depths,
    where_to_measure,
)
from calculations.loft import Loft, LoftArea, Outline
from tests.calculations.sample_lofts import BY_SHAPE, ELL, RECTANGLE, box_outline

ASKED = DepthRequirement(min_depth_mm=270)
ALLOWANCES = ("", "", "", "", "", "eaves", "tank", "deck")
MIDDLES_MM = (255, 268, 275, 290)
SPREADS_MM = (0.0, 4.0, 15.0)
Job = tuple[Loft, list[Reading]]
Place = tuple[str, float, float]


def scaled(outline: Outline, scale: float) -> Outline:
    return tuple((x * scale, y * scale) for x, y in outline)


def varied_lofts(rng: np.random.Generator) -> list[Loft]:
    """The sample shapes, each at ten sizes; what is fixed to them plays no part here."""
    lofts = []
    for shape in BY_SHAPE.values():
        for scale in (1.0, *rng.uniform(0.6, 1.6, size=9)):
            areas = tuple(
                replace(
                    area,
                    outline_mm=scaled(area.outline_mm, scale),
                    holes_mm=tuple(scaled(hole, scale) for hole in area.holes_mm),
                )
                for area in shape.areas
            )
            obstacles = tuple(
                replace(o, outline_mm=scaled(o.outline_mm, scale)) for o in shape.obstacles
            )
            lofts.append(replace(shape, areas=areas, obstacles=obstacles, fixtures=()))
    return lofts


def random_job(rng: np.random.Generator, loft: Loft, places: list[Place]) -> Job:
    """Mostly where readings are wanted, some astray, some with an allowance, some far too thin."""
    wanted = np.flatnonzero(rng.random(len(places)) < 0.97)
    again = rng.integers(len(places), size=rng.integers(0, 4))
    chosen = [*wanted.tolist(), *again.tolist()]
    n = len(chosen)
    astray = np.where(rng.random(n) < 0.1, 3000.0, 100.0)
    shifts = rng.normal(0, 1, (n, 2)) * astray[:, None]
    depths = rng.normal(MIDDLES_MM[rng.integers(4)], SPREADS_MM[rng.integers(3)], n).clip(min=0.0)
    allowed = np.where(rng.random(n) < 0.2, rng.integers(len(ALLOWANCES), size=n), 0)
    return loft, [
        Reading(name, x + dx, y + dy, round(depth, 2), ALLOWANCES[allowance])  # type: ignore[arg-type]
        for (name, x, y), (dx, dy), depth, allowance in zip(
            map(places.__getitem__, chosen), shifts.tolist(), depths.tolist(), allowed.tolist(),
            strict=True,
        )
    ]  # fmt: skip


def random_jobs(count: int, seed: int) -> list[Job]:
    rng = np.random.default_rng(seed)
    lofts = varied_lofts(rng)
    places = [
        [(p.area, p.x_mm, p.y_mm) for p in where_to_measure(loft, (), ASKED)] for loft in lofts
    ]
    picks = rng.integers(len(lofts), size=count)
    return [random_job(rng, lofts[i], places[i]) for i in picks]


def same(found: float, expected: float) -> bool:
    return found == expected or (math.isnan(found) and math.isnan(expected))


def assert_same(batch: DepthBatch, singles: list[DepthVerdict]) -> None:
    verdicts = assess_batch(batch)
    row = 0
    for job, single in enumerate(singles):
        assert VERDICTS[verdicts.job_code[job]] == single.verdict
        for area in single.areas:
            assert VERDICTS[verdicts.area_code[row]] == area.verdict
            assert same(verdicts.mean_mm[row], area.mean_mm)
            assert same(verdicts.lower_limit_mm[row], area.lower_limit_mm)
            assert same(verdicts.share_below[row], area.share_below)
            row += 1
    assert row == len(verdicts.area_code)


def test_a_hundred_thousand_random_jobs_get_the_same_verdicts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Verdicts and figures, that is; the words that the single path finds for them are left out."""
    for words in ("area_steps", "_suspicions", "_missing"):
        monkeypatch.setattr(f"calculations.depths.{words}", lambda *_: ())
    found = dict.fromkeys(VERDICTS, 0)
    for seed in range(10):
        jobs = random_jobs(10_000, seed)
        singles = [assess_depths(loft, readings, ASKED) for loft, readings in jobs]
        assert_same(batch_of(jobs, ASKED), singles)
        for single in singles:
            found[single.verdict] += 1
    assert sum(found.values()) == 100_000
    assert min(found.values()) > 5_000  # the jobs try every branch


@pytest.mark.parametrize(
    "requirement",
    [
        DepthRequirement(min_depth_mm=350),
        DepthRequirement(min_depth_mm=100, zone_m2=2.0),
        DepthRequirement(min_depth_mm=270, m2_per_reading=2.0, confidence=0.99),
        DepthRequirement(min_depth_mm=270, least_depth_share=0.99, reading_tolerance_mm=30.0),
    ],
)
def test_the_same_under_other_rules(requirement: DepthRequirement) -> None:
    jobs = random_jobs(300, seed=7)
    singles = [assess_depths(loft, readings, requirement) for loft, readings in jobs]
    assert_same(batch_of(jobs, requirement), singles)


@given(
    st.lists(
        st.lists(
            st.tuples(
                st.sampled_from([a.name for a in ELL.areas]),
                st.floats(-500, 12_000),
                st.floats(-500, 12_000),
                st.floats(0, 400),
                st.sampled_from(["", "eaves", "tank", "deck"]),
            ),
            max_size=12,
        ),
        min_size=1,
        max_size=5,
    )
)
@settings(max_examples=60, deadline=None)
def test_any_readings_at_all_get_the_same_verdicts(
    drawn: list[list[tuple[str, float, float, float, str]]],
) -> None:
    jobs: list[Job] = [(ELL, [Reading(*values) for values in job]) for job in drawn]  # type: ignore[arg-type]
    singles = [assess_depths(loft, readings, ASKED) for loft, readings in jobs]
    assert_same(batch_of(jobs, ASKED), singles)


def test_a_floor_with_more_than_64_zones() -> None:
    hall = Loft(
        areas=(
            LoftArea(
                "hall",
                box_outline(0, 0, 26_500, 26_500),
                joist_spacing_mm=600,
                joist_depth_mm=100,
                joist_width_mm=48,
                joist_direction_deg=0,
            ),
        )
    )
    readings = [Reading(p.area, p.x_mm, p.y_mm, 280.0) for p in where_to_measure(hall, (), ASKED)]
    one_zone_less = [r for r in readings if r.x_mm > 3500 or r.y_mm > 3500]
    jobs: list[Job] = [(hall, readings), (RECTANGLE, []), (hall, one_zone_less)]
    singles = [assess_depths(loft, found, ASKED) for loft, found in jobs]
    assert [s.verdict for s in singles] == ["meets", "unproven", "unproven"]
    assert_same(batch_of(jobs, ASKED), singles)


def test_parts_placed_apart_join_to_the_same_batch() -> None:
    jobs = random_jobs(40, seed=3)
    whole = batch_of(jobs, ASKED)
    joined = join(
        [batch_of(jobs[:15], ASKED), batch_of([], ASKED), batch_of(jobs[15:], ASKED)], ASKED
    )
    for name in ("job_start", "area_start", "slot", "zone", "needed", "zones"):
        assert np.array_equal(getattr(whole, name), getattr(joined, name))


def test_no_jobs_no_verdicts() -> None:
    verdicts = assess_batch(batch_of([], ASKED))
    assert len(verdicts.job_code) == 0
    assert verdicts.tally() == {"short": 0, "unproven": 0, "meets": 0}


def test_chunks_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    batch = batch_of(random_jobs(200, seed=5), ASKED)
    whole = assess_batch(batch)
    monkeypatch.setattr("calculations.batch.CHUNK_READINGS", 17)
    cut = assess_batch(batch)
    assert np.array_equal(whole.area_code, cut.area_code)
    assert np.array_equal(whole.lower_limit_mm, cut.lower_limit_mm, equal_nan=True)


def test_a_milder_way_of_judging_needs_no_new_placing() -> None:
    jobs = random_jobs(200, seed=11)
    milder = replace(ASKED, least_depth_share=0.5, greatest_share_below=1.0)
    rejudged = batch_of(jobs, ASKED).judged_by(milder)
    assert_same(rejudged, [assess_depths(loft, readings, milder) for loft, readings in jobs])


def test_another_depth_needs_the_readings_placed_again() -> None:
    with pytest.raises(InputError) as error:
        batch_of([], ASKED).judged_by(replace(ASKED, min_depth_mm=300))
    assert error.value.field == "min_depth_mm"
    assert "batch_of" in error.value.remedy
    with pytest.raises(InputError, match="another rule"):
        join([batch_of([], ASKED)], replace(ASKED, min_depth_mm=300))


def test_a_reading_that_cannot_be_is_refused_before_anything_is_judged() -> None:
    with pytest.raises(DepthError, match="depth_mm"):
        batch_of([(RECTANGLE, [Reading("Main", 1000, 1000, -5)])], ASKED)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"job_start": np.array([0, 2])}, "job_start"),
        ({"job_start": np.array([0, 0, 1])}, "job_start"),
        ({"area_start": np.array([0, 3])}, "area_start"),
        ({"zone": np.zeros(1, dtype=np.uint16)}, "zone"),
        ({"zones": np.zeros(3, dtype=np.uint16)}, "zones"),
        ({"slot": np.array([65_000, 0], dtype=np.uint16)}, "slot"),
    ],
)
def test_columns_that_do_not_fit_together_are_refused(
    change: dict[str, np.ndarray], field: str
) -> None:
    columns = {
        "job_start": np.array([0, 1]),
        "area_start": np.array([0, 2]),
        "slot": np.array([2700, 2700], dtype=np.uint16),
        "zone": np.array([1, 2], dtype=np.uint16),
        "needed": np.array([2], dtype=np.uint16),
        "zones": np.array([2], dtype=np.uint16),
    }
    with pytest.raises(InputError) as error:
        DepthBatch(ASKED, **(columns | change))
    assert error.value.field == field
