"""Verdicts on depth readings, as a surveyor, an installer and an auditor would meet them."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calculations.depths import (
    DepthError,
    DepthRequirement,
    Reading,
    assess_depths,
    where_to_measure,
)
from calculations.loft import Loft, LoftArea
from tests.calculations.sample_lofts import BY_SHAPE, ELL, HIPPED, RECTANGLE, box_outline

ASKED = DepthRequirement(min_depth_mm=270)
WORSE_TO_BETTER = ("short", "unproven", "meets")


def measured(loft: Loft, *depths_mm: float) -> list[Reading]:
    """A reading at every place asked for, the depths taken in turn."""
    points = where_to_measure(loft, (), ASKED)
    return [
        Reading(p.area, p.x_mm, p.y_mm, depths_mm[i % len(depths_mm)]) for i, p in enumerate(points)
    ]


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_enough_depth_where_asked_for_meets_in_every_shape(shape: str) -> None:
    loft = BY_SHAPE[shape]
    verdict = assess_depths(loft, measured(loft, 278, 272, 285, 291), ASKED)
    assert verdict.verdict == "meets"
    assert verdict.missing == ()
    assert verdict.suspicions == ()
    assert all(step.passed is not False for step in verdict.steps)


def test_no_readings_prove_nothing_and_say_what_is_missing() -> None:
    verdict = assess_depths(RECTANGLE, (), ASKED)
    assert verdict.verdict == "unproven"
    assert verdict.missing == ("Main: 7 more readings at full depth (0 of 7).",)


def test_a_thin_mean_is_short_with_its_deficit() -> None:
    verdict = assess_depths(RECTANGLE, measured(RECTANGLE, 260, 255, 262), ASKED)
    assert verdict.verdict == "short"
    assert verdict.deficit_mm == 15
    mean = next(s for s in verdict.steps if s.kind == "mean")
    assert mean.passed is False
    assert mean.expression == "(260 + 255 + 262 + 260 + 255 + 262 + 260) / 7, at least 270 mm"
    assert mean.value == pytest.approx((260 * 3 + 255 * 2 + 262 * 2) / 7)


def test_one_very_thin_place_is_short_however_deep_the_rest() -> None:
    readings = measured(RECTANGLE, 400)
    readings[2] = replace(readings[2], depth_mm=242)
    verdict = assess_depths(RECTANGLE, readings, ASKED)
    assert verdict.verdict == "short"
    assert [s.kind for s in verdict.steps if s.passed is False] == ["thinnest"]


def test_too_large_a_share_below_is_short() -> None:
    readings = measured(RECTANGLE, 300)
    for i in (0, 3):
        readings[i] = replace(readings[i], depth_mm=255)
    verdict = assess_depths(RECTANGLE, readings, ASKED)
    assert verdict.verdict == "short"
    share = next(s for s in verdict.steps if s.kind == "share")
    assert share.value == pytest.approx(100 * 2 / 7)
    assert verdict.deficit_area_m2 == pytest.approx(verdict.areas[0].open_area_m2 * 2 / 7)


def test_a_reading_within_the_tolerance_is_not_below() -> None:
    verdict = assess_depths(RECTANGLE, measured(RECTANGLE, 265, 280, 290), ASKED)
    assert verdict.areas[0].share_below == 0
    assert verdict.verdict == "meets"


def test_readings_crowded_in_one_corner_are_unproven_and_say_where_to_go() -> None:
    crowd = [Reading("Main", 1000 + 60 * i, 1000, 280 + i) for i in range(12)]
    verdict = assess_depths(RECTANGLE, crowd, ASKED)
    assert verdict.verdict == "unproven"
    assert [s.kind for s in verdict.steps if s.passed is False] == ["spread"]
    assert "no reading in the zone round" in verdict.missing[0]
    assert len(where_to_measure(RECTANGLE, crowd, ASKED)) == 5


def test_few_readings_with_one_thin_among_them_are_not_proof() -> None:
    small = Loft(areas=(replace(RECTANGLE.areas[0], outline_mm=box_outline(0, 0, 4000, 5000)),))
    readings = measured(small, 300)
    readings[0] = replace(readings[0], depth_mm=264)
    assert len(readings) == 4
    generous = replace(ASKED, greatest_share_below=0.25, least_limit_share=0.99)
    verdict = assess_depths(small, readings, generous)
    assert verdict.verdict == "unproven"
    assert "scatter too much" in verdict.missing[0]


def test_the_worst_area_decides_for_the_job() -> None:
    readings = measured(ELL, 280)
    thin = [replace(r, depth_mm=200) if r.area == "Rear wing" else r for r in readings]
    verdict = assess_depths(ELL, thin, ASKED)
    assert {a.area: a.verdict for a in verdict.areas} == {
        "Front wing": "meets",
        "Rear wing": "short",
    }
    assert verdict.verdict == "short"


def test_eaves_readings_stand_apart_and_do_not_pull_the_mean_down() -> None:
    eaves = Reading("Main", 4000, 150, 120, "eaves")
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), eaves], ASKED)
    assert verdict.verdict == "meets"
    shown = verdict.areas[0].allowances
    assert [(a.kind, a.readings, a.least_mm) for a in shown] == [("eaves", 1, 120)]
    assert verdict.areas[0].least_mm == 280


def test_eaves_thinner_than_what_fits_there_are_short() -> None:
    bare = Reading("Main", 4000, 280, 30, "eaves")
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), bare], ASKED)
    assert verdict.verdict == "short"
    assert [s.kind for s in verdict.steps if s.passed is False] == ["eaves"]


def test_at_the_very_plate_only_what_fits_under_the_roof_is_asked() -> None:
    """Rafters of 100 mm at 35 degrees leave (100 - 50) / cos 35 = 61 mm at the plate."""
    low = Reading("Main", 4000, 0, 57, "eaves")
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), low], ASKED)
    assert verdict.verdict == "meets"


@pytest.mark.parametrize("allowance", ["eaves", "tank", "deck"])
def test_an_allowance_where_the_loft_has_none_is_refused_and_judged_in_full(
    allowance: str,
) -> None:
    claim = Reading("Main", 1700, 2500, 100, allowance)  # type: ignore[arg-type]
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), claim], ASKED)
    assert verdict.verdict == "short"
    assert verdict.suspicion_kinds == ("allowance_refused",)


def test_tank_and_deck_readings_are_shown_and_not_judged() -> None:
    apart = [Reading("Main", 2900, 3500, 150, "tank"), Reading("Main", 5000, 2000, 200, "deck")]
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), *apart], ASKED)
    assert verdict.verdict == "meets"
    assert [a.kind for a in verdict.areas[0].allowances] == ["tank", "deck"]
    assert [s.passed for s in verdict.steps if s.kind == "apart"] == [None, None]


@pytest.mark.parametrize(
    ("position", "reason"),
    [((9000, 2000), "outside the outline"), ((500, 2300), "inside the chimney")],
)
def test_a_reading_off_the_floor_is_told_and_not_counted(
    position: tuple[float, float], reason: str
) -> None:
    stray = Reading("Main", *position, 10)
    verdict = assess_depths(RECTANGLE, [*measured(RECTANGLE, 280, 290), stray], ASKED)
    assert verdict.verdict == "meets", reason
    assert verdict.suspicion_kinds == ("outside",)


def test_a_reading_in_the_hole_of_a_hipped_loft_is_not_counted() -> None:
    stray = Reading("Hipped loft", 4600, 3600, 280)
    verdict = assess_depths(HIPPED, [stray], ASKED)
    assert verdict.areas[0].counted == 0
    assert verdict.suspicion_kinds == ("outside",)


@pytest.mark.parametrize(
    ("depths", "kind"),
    [
        ((280.0,), "all_equal"),
        ((270.0, 272.0, 275.0), "at_the_limit"),
        ((280.0, 2800.0), "improbable"),
        ((300.0, 350.0), "round_numbers"),
    ],
)
def test_suspicious_sets_are_told_and_do_not_change_the_verdict(
    depths: tuple[float, ...], kind: str
) -> None:
    verdict = assess_depths(RECTANGLE, measured(RECTANGLE, *depths), ASKED)
    assert verdict.suspicion_kinds == (kind,)
    assert verdict.verdict == "meets"


def test_two_areas_with_the_very_same_depths_look_copied() -> None:
    loft = Loft(
        areas=tuple(
            replace(RECTANGLE.areas[0], name=name, outline_mm=box_outline(x, 0, 4000, 5000))
            for name, x in (("Left", 0), ("Right", 4000))
        )
    )
    verdict = assess_depths(loft, measured(loft, 281, 274, 290, 277), ASKED)
    assert verdict.suspicion_kinds == ("copied",)


def test_readings_taken_at_one_place_are_told() -> None:
    readings = measured(RECTANGLE, 280, 291)
    verdict = assess_depths(RECTANGLE, [*readings, readings[0]], ASKED)
    assert verdict.suspicions == ("Readings 1, 8 were all taken at one place.",)


@pytest.mark.parametrize(
    ("reading", "field"),
    [
        (Reading("Attic", 0, 0, 270), "readings[0].area"),
        (Reading("Main", float("nan"), 0, 270), "readings[0].x_mm"),
        (Reading("Main", 0, 0, -1), "readings[0].depth_mm"),
        (Reading("Main", 0, 0, 5001), "readings[0].depth_mm"),
        (Reading("Main", 0, 0, 270, "porch"), "readings[0].allowance"),  # type: ignore[arg-type]
    ],
)
def test_impossible_readings_are_refused_by_field(reading: Reading, field: str) -> None:
    with pytest.raises(DepthError) as caught:
        assess_depths(RECTANGLE, [reading], ASKED)
    assert caught.value.path == field
    assert caught.value.remedy


@pytest.mark.parametrize(
    "field",
    ["min_depth_mm", "m2_per_reading", "least_readings_per_area", "confidence", "zone_m2"],
)
def test_impossible_requirements_are_refused_by_field(field: str) -> None:
    with pytest.raises(DepthError) as caught:
        replace(ASKED, **{field: -1})  # type: ignore[arg-type]
    assert caught.value.path == field


def test_half_a_reading_cannot_be_asked_for() -> None:
    with pytest.raises(DepthError, match="least_readings_per_area"):
        DepthRequirement(270, least_readings_per_area=4.5)  # type: ignore[arg-type]


def test_the_verdict_goes_through_json_unchanged() -> None:
    verdict = assess_depths(ELL, measured(ELL, 280, 285)[:-1], ASKED)
    plain = verdict.to_dict()
    assert json.loads(json.dumps(plain)) == plain
    assert plain["verdict"] == "unproven"


# What holds for any readings at all.

AREA = RECTANGLE.areas[0]
positions = st.tuples(st.integers(-500, 8500), st.integers(-500, 5500))
depths = st.floats(0, 600, allow_nan=False)
allowances = st.sampled_from(["", "", "", "eaves", "tank", "deck"])
readings_lists = st.lists(
    st.builds(
        lambda at, depth, allowance: Reading("Main", at[0], at[1], depth, allowance),
        positions,
        depths,
        allowances,
    ),
    max_size=14,
)
near_the_limit = st.lists(st.floats(240, 300), min_size=7, max_size=7)


def rank(readings: list[Reading]) -> int:
    return WORSE_TO_BETTER.index(assess_depths(RECTANGLE, readings, ASKED).verdict)


@given(readings_lists, st.data())
def test_more_depth_never_makes_a_verdict_worse(
    readings: list[Reading], data: st.DataObject
) -> None:
    deeper = [replace(r, depth_mm=r.depth_mm + data.draw(st.floats(0, 300))) for r in readings]
    assert rank(deeper) >= rank(readings)


@given(near_the_limit, st.lists(st.floats(0, 60), min_size=7, max_size=7))
def test_more_depth_never_turns_meets_into_anything_else_near_the_limit(
    depths_mm: list[float], added: list[float]
) -> None:
    before = [
        replace(r, depth_mm=d) for r, d in zip(measured(RECTANGLE, 270), depths_mm, strict=True)
    ]
    after = [replace(r, depth_mm=r.depth_mm + a) for r, a in zip(before, added, strict=True)]
    assert rank(after) >= rank(before)


@given(readings_lists, positions, st.floats(270, 600))
def test_one_more_reading_at_full_depth_never_makes_a_verdict_worse(
    readings: list[Reading], at: tuple[int, int], depth_mm: float
) -> None:
    assert rank([*readings, Reading("Main", *at, depth_mm)]) >= rank(readings)


@given(st.lists(st.floats(230, 320), min_size=7, max_size=12))
def test_every_step_that_fails_is_a_reason_and_every_verdict_has_its_reason(
    depths_mm: list[float],
) -> None:
    """Meets: every line passes. Short: a line on depth fails. Unproven: only lines on proof."""
    base = measured(RECTANGLE, 270)
    readings = [replace(base[i % 7], depth_mm=d) for i, d in enumerate(depths_mm)]
    verdict = assess_depths(RECTANGLE, readings, ASKED)
    failed = {step.kind for step in verdict.steps if step.passed is False}
    if verdict.verdict == "meets":
        assert not failed
    elif verdict.verdict == "short":
        assert failed & {"mean", "thinnest", "share", "eaves"}
    else:
        assert failed and failed <= {"count", "spread", "limit"}


def test_the_rule_is_told_in_words_with_its_numbers() -> None:
    told = " ".join(ASKED.in_words())
    for number in ("5 m²", "10 m²", "270 mm", "243 mm", "265 mm", "20%", "256.5 mm", "100 mm"):
        assert number in told


@given(readings_lists, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(readings: list[Reading], random: object) -> None:
    shuffled = list(readings)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    first = assess_depths(RECTANGLE, readings, ASKED)
    second = assess_depths(RECTANGLE, shuffled, ASKED)
    assert first.verdict == second.verdict
    assert first.missing == second.missing
    assert set(first.suspicion_kinds) == set(second.suspicion_kinds)
    assert [s.value for s in first.steps if s.kind != "apart"] == pytest.approx(
        [s.value for s in second.steps if s.kind != "apart"], nan_ok=True, rel=0, abs=0
    )


@given(st.lists(st.integers(2000, 3300), min_size=7, max_size=7))
def test_depths_typed_in_centimetres_give_the_same_verdict(tenths: list[int]) -> None:
    base = measured(RECTANGLE, 270)
    in_mm = [replace(r, depth_mm=t / 10) for r, t in zip(base, tenths, strict=True)]
    from_cm = [replace(r, depth_mm=(t / 100) * 10) for r, t in zip(base, tenths, strict=True)]
    from_m = [replace(r, depth_mm=(t / 10000) * 1000) for r, t in zip(base, tenths, strict=True)]
    verdicts = [assess_depths(RECTANGLE, r, ASKED) for r in (in_mm, from_cm, from_m)]
    assert verdicts[0] == verdicts[1] == verdicts[2]


@given(readings_lists)
def test_moving_the_whole_loft_and_its_readings_changes_nothing(
    readings: list[Reading],
) -> None:
    shift = 10_000
    area = replace(AREA, outline_mm=tuple((x + shift, y - shift) for x, y in AREA.outline_mm))
    still = assess_depths(Loft(areas=(AREA,)), readings, ASKED)
    moved = assess_depths(
        Loft(areas=(area,)),
        [replace(r, x_mm=r.x_mm + shift, y_mm=r.y_mm - shift) for r in readings],
        ASKED,
    )
    assert still.verdict == moved.verdict


@given(readings_lists, st.integers(150, 400))
def test_asking_for_less_never_makes_meets_short(readings: list[Reading], asked_mm: int) -> None:
    """The same rule over another depth: what meets more never falls short of less."""
    area = replace(AREA, eaves_edges=())
    loft = Loft(areas=(area,))
    strict = assess_depths(loft, readings, replace(ASKED, min_depth_mm=asked_mm))
    if strict.verdict == "meets":
        lax = assess_depths(loft, readings, replace(ASKED, min_depth_mm=asked_mm - 50))
        assert lax.verdict != "short"


@given(
    st.integers(1200, 14000),
    st.integers(1200, 14000),
    st.sampled_from([0.0, 90.0, 30.0, 137.0]),
    st.integers(0, 3),
)
def test_measuring_where_asked_always_satisfies_count_and_spread(
    width: int, depth: int, direction: float, taken: int
) -> None:
    area = LoftArea("A", box_outline(0, 0, width, depth), 400, 100, 50, direction)
    loft = Loft(areas=(area,))
    first = where_to_measure(loft, (), ASKED)
    readings = [Reading("A", p.x_mm, p.y_mm, 280 + i % 9) for i, p in enumerate(first[:taken])]
    rest = where_to_measure(loft, readings, ASKED)
    readings += [Reading("A", p.x_mm, p.y_mm, 280 + i % 9) for i, p in enumerate(rest)]
    verdict = assess_depths(loft, readings, ASKED)
    assert verdict.verdict == "meets"
    assert where_to_measure(loft, readings, ASKED) == ()
