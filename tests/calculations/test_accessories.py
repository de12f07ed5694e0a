"""What goes on the van besides wool, and why."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calculations.accessories import AccessoryLine, accessories_for
from calculations.catalogue import INVENTED_CATALOGUE
from calculations.layers import Layer, Target, choose_layers
from calculations.loft import Condition, Hazard, HazardKind, Loft, LoftError
from tests.calculations.sample_lofts import BY_SHAPE, ELL, RECTANGLE, TEE


def lines(loft: Loft, crew_size: int = 2) -> dict[str, AccessoryLine]:
    layers = choose_layers(loft, Target(depth_mm=270), INVENTED_CATALOGUE).layers
    found = accessories_for(loft, layers, crew_size=crew_size)
    assert len({line.item for line in found}) == len(found)
    return {line.item: line for line in found}


@pytest.mark.parametrize("shape", sorted(BY_SHAPE))
def test_every_line_says_how_many_of_what_and_why(shape: str) -> None:
    for line in lines(BY_SHAPE[shape]).values():
        assert line.quantity > 0
        assert line.unit and line.name and line.reason


def test_a_downlight_gets_a_cover_and_a_word_on_heat() -> None:
    cover = lines(ELL)["downlight_cover"]
    assert cover.quantity == 2
    assert "Kitchen light 1, Kitchen light 2" in cover.reason
    assert "electrician" in cover.caution


def test_a_loaded_cable_is_kept_on_top_by_its_length_and_never_called_safe() -> None:
    cable = lines(ELL)["cable_on_top"]
    assert cable.quantity == 8.8
    assert "electrician" in cable.caution
    assert "safe" not in (cable.name + cable.reason + cable.caution).lower()


def test_a_light_cable_is_lifted_and_clipped() -> None:
    quiet = replace(ELL.fixtures[2], high_load=False)
    found = lines(replace(ELL, fixtures=(quiet,)))
    assert found["cable_clip"].quantity == 8.8
    assert "cable_on_top" not in found


def test_eaves_trays_are_one_a_rafter_bay() -> None:
    """9.0 m at 400 mm is 23 bays, two sides of 6.0 m at 600 mm are 10 each."""
    assert lines(ELL)["eaves_tray"].quantity == 23 + 10 + 10


def test_no_trays_where_nothing_new_is_laid() -> None:
    assert "eaves_tray" not in {line.item for line in accessories_for(ELL, ())}


def test_the_tank_gets_a_jacket_and_nothing_beneath_and_its_pipe_lagging() -> None:
    found = lines(RECTANGLE)
    assert "nothing is laid beneath" in found["tank_jacket"].reason
    assert found["pipe_lagging"].quantity == 3  # 2.8 m and 5 % for joints, in whole metres


def test_the_hatch_is_insulated_and_sealed_all_round() -> None:
    found = lines(RECTANGLE)
    assert found["hatch_insulation"].quantity == 0.36
    assert found["draught_strip"].quantity == 2.4
    assert found["hatch_catch"].quantity == 2


def test_a_low_deck_is_raised_and_a_high_one_is_left() -> None:
    assert lines(RECTANGLE)["deck_support"].quantity == 2.3
    high = tuple(
        replace(o, underside_mm=400.0) if o.name == "Deck" else o for o in RECTANGLE.obstacles
    )
    assert "deck_support" not in lines(replace(RECTANGLE, obstacles=high))


@pytest.mark.parametrize(("spacing_mm", "length"), [(400, "1.0 m"), (450, "1.1 m"), (600, "1.4 m")])
def test_crawl_boards_reach_over_three_joists(spacing_mm: float, length: str) -> None:
    area = replace(TEE.areas[0], joist_spacing_mm=spacing_mm, joist_width_mm=44)
    board = lines(Loft(areas=(area,)))["crawl_board"]
    assert length in board.name
    assert "three joists" in board.reason
    assert "Never step between joists" in board.caution


@pytest.mark.parametrize("crew_size", [1, 2, 4])
def test_protection_and_tools_follow_the_crew(crew_size: int) -> None:
    found = lines(RECTANGLE, crew_size)
    for item in ("overalls", "safety_glasses", "bump_cap", "gloves", "knife", "tape_measure"):
        assert found[item].quantity == crew_size
    assert found["dust_mask"].quantity == 2 * crew_size
    assert found["crawl_board"].quantity == 2 * crew_size
    assert found["fine_saw"].quantity == 1


def test_old_wool_that_is_taken_out_needs_bags() -> None:
    area = replace(TEE.areas[0], existing_depth_mm=100, existing_condition=Condition.REMOVE)
    bags = lines(replace(TEE, areas=(area,)))["rubble_bag"]
    assert bags.quantity == 47  # 55.35 m2 net of hatch and flue, 0.1 m deep, 0.12 m3 a bag
    assert "asbestos" in bags.caution


@pytest.mark.parametrize("kind", list(HazardKind))
def test_every_hazard_is_a_hold_with_its_caution(kind: HazardKind) -> None:
    loft = replace(TEE, hazards=(Hazard(kind, "north corner"),))
    found = accessories_for(loft, ())
    assert found[0].item == f"hold_{kind.value}"
    assert found[0].caution
    assert "north corner" in found[0].reason


@pytest.mark.parametrize("crew_size", [0, 13])
def test_a_crew_that_cannot_be_is_refused(crew_size: int) -> None:
    with pytest.raises(LoftError, match="crew_size"):
        accessories_for(TEE, (), crew_size=crew_size)


def test_a_starter_layer_counts_as_reaching_the_eaves() -> None:
    def layer(covers: str) -> Layer:
        return Layer(1, "T loft", "W100", 100, 90, "between_joists", covers)  # type: ignore[arg-type]

    assert any(x.item == "eaves_tray" for x in accessories_for(TEE, [layer("eaves")]))
    assert not any(x.item == "eaves_tray" for x in accessories_for(TEE, [layer("middle")]))
