"""Hours of a visit, and where they come from."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calculations.labour import LabourRates, labour_for
from calculations.layers import Layer
from calculations.loft import Condition, Loft, LoftError
from tests.calculations.sample_lofts import ELL, RECTANGLE, TEE


def full(loft: Loft, thickness_mm: float = 170) -> list[Layer]:
    return [
        Layer(1, area.name, "W170", thickness_mm, 90, "across_joists", "full")
        for area in loft.areas
    ]


def hours(loft: Loft, **changes: object) -> dict[str, float]:
    labour = labour_for(loft, full(loft), 40, **changes)  # type: ignore[arg-type]
    return {step.name: step.operative_hours for step in labour.steps}


def test_the_crew_shares_the_hours_of_all_steps() -> None:
    alone = labour_for(TEE, full(TEE), 40, crew_size=1)
    pair = labour_for(TEE, full(TEE), 40, crew_size=2)
    assert alone.crew_hours == pytest.approx(sum(s.operative_hours for s in alone.steps), abs=0.01)
    assert pair.crew_hours == pytest.approx(alone.crew_hours / 2, abs=0.01)


def test_every_step_states_its_basis() -> None:
    for step in labour_for(RECTANGLE, full(RECTANGLE), 40).steps:
        assert "common practice, no published source" in step.basis
        assert step.operative_hours > 0


def test_a_companys_own_rates_are_used_and_named() -> None:
    rates = LabourRates(hatch_each=2.0, basis="our own visits of last year")
    steps = labour_for(RECTANGLE, full(RECTANGLE), 40, rates=rates).steps
    hatch = next(s for s in steps if "hatch" in s.name)
    assert hatch.operative_hours == 2.0
    assert hatch.basis == "1 × 2 h a hatch; our own visits of last year"


def test_laying_goes_by_net_floor_and_a_low_roof_takes_longer() -> None:
    """55.35 m2 net of hatch and flue, at 0.035 h, and a quarter more under 25 degrees."""
    assert hours(TEE)["Lay wool"] == pytest.approx(55.35 * 0.035, abs=0.001)
    low = replace(TEE, roof=replace(TEE.roof, pitch_deg=20))
    assert hours(low)["Lay wool under a low roof"] == pytest.approx(55.35 * 0.04375, abs=0.001)


def test_old_wool_is_taken_out_or_levelled_only_where_the_survey_says_so() -> None:
    assert "Take old insulation out" not in hours(ELL)
    removed = replace(ELL.areas[1], existing_condition=Condition.REMOVE)
    assert hours(replace(ELL, areas=(ELL.areas[0], removed)))["Take old insulation out"] > 0
    levelled = replace(ELL.areas[1], existing_condition=Condition.LEVEL)
    found = hours(replace(ELL, areas=(ELL.areas[0], levelled)))
    assert found["Level old insulation"] == pytest.approx(25.2 * 0.02)


def test_more_to_do_never_takes_less() -> None:
    bare = Loft(areas=RECTANGLE.areas)
    plain = labour_for(bare, full(bare), 40).crew_hours
    assert labour_for(RECTANGLE, full(RECTANGLE), 40).crew_hours > plain
    assert labour_for(bare, full(bare), 80).crew_hours > plain
    assert labour_for(bare, full(bare) * 2, 40).crew_hours > plain


@pytest.mark.parametrize(
    ("change", "field"), [({"crew_size": 0}, "crew_size"), ({"crew_size": 13}, "crew_size")]
)
def test_a_crew_that_cannot_be_is_refused(change: dict[str, int], field: str) -> None:
    with pytest.raises(LoftError) as caught:
        labour_for(TEE, (), 10, **change)
    assert caught.value.path == field


def test_negative_strips_and_rates_are_refused() -> None:
    with pytest.raises(LoftError, match="strips_count"):
        labour_for(TEE, (), -1)
    with pytest.raises(LoftError, match="hatch_each"):
        LabourRates(hatch_each=-1)
