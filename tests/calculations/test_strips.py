"""Strips from the geometry, each case worked by hand."""

from __future__ import annotations

import pytest
from shapely import Polygon, box, union_all

from calculations.catalogue import INVENTED_CATALOGUE, RollType
from calculations.layers import Layer
from calculations.loft import Loft, LoftArea, Obstacle, ObstacleKind, Roof
from calculations.strips import Piece, cut_round, eaves_length_mm, pieces_of

W100 = INVENTED_CATALOGUE[0]
STEEP = Roof(pitch_deg=60, rafter_depth_mm=200)
"""At the plate there is room for (200 - 50) / cos 60 = 300 mm, so that 100 mm lies up to it."""


def rectangle(x: float, y: float, w: float, h: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


def pieces(
    width: float,
    depth: float,
    *obstacles: Obstacle,
    kind: str = "between_joists",
    eaves: tuple[int, ...] = (),
) -> list[Piece]:
    area = LoftArea("Main", rectangle(0, 0, width, depth), 400, 100, 50, 90, eaves_edges=eaves)
    direction = 90 if kind == "between_joists" else 0
    base = 0 if kind == "between_joists" else 100
    layer = Layer(1, "Main", "W100", 100, direction, kind, "full", base)  # type: ignore[arg-type]
    found = pieces_of(Loft((area,), obstacles, roof=STEEP), area, layer, W100, (layer,))
    return sorted(found, key=lambda p: (p.bay, p.shape.bounds))


def sizes(found: list[Piece]) -> list[tuple[int, float, float]]:
    return [(p.bay, round(p.length_mm, 1), round(p.width_mm, 1)) for p in found]


def test_bays_take_perforated_thirds_and_the_gap_at_the_wall_a_sawn_strip() -> None:
    """1000 mm wide: joists at 0-50, 400-450, 800-850, so bays of 350, 350 and 150 mm."""
    found = pieces(1000, 3000)
    assert sizes(found) == [(1, 3000, 380), (2, 3000, 380), (3, 3000, 160)]
    assert [p.sawn for p in found] == [False, False, True]


def test_across_takes_whole_rolls_with_the_narrow_one_in_the_middle() -> None:
    """3000 mm deep with 1140 mm rolls: two whole ones and 720 mm between them."""
    found = pieces(2000, 3000, kind="across_joists")
    assert sizes(found) == [(1, 2000, 1140), (2, 2000, 720), (3, 2000, 1140)]


def test_eaves_lengths_are_a_quarter_of_the_roll_and_the_middle_may_be_joined() -> None:
    """8050 mm rolls give four lengths of 2012.5 mm."""
    assert eaves_length_mm(W100) == 2012.5
    found = pieces(450, 7000, eaves=(0, 2))
    assert [(p.zone, p.length_mm, p.joinable) for p in found] == [
        ("eaves", 2012.5, False),
        ("middle", 2975.0, True),
        ("eaves", 2012.5, False),
    ]


def test_a_short_bay_between_two_eaves_is_halved() -> None:
    found = pieces(450, 4200, eaves=(0, 2))
    assert [(p.zone, p.length_mm) for p in found] == [("eaves", 2100), ("eaves", 2100)]


def test_a_bay_along_the_eaves_is_all_eaves() -> None:
    found = pieces(850, 4000, eaves=(3,))
    assert [p.zone for p in found] == ["eaves", "middle"]


@pytest.mark.parametrize("kind", ["tank", "chimney", "hatch"])
def test_obstacles_break_the_bay(kind: str) -> None:
    """A 600 mm deep obstacle over the first bay only, 1000 mm from its end."""
    thing = Obstacle("Thing", ObstacleKind(kind), rectangle(0, 1000, 420, 600))
    found = pieces(800, 3000, thing)
    assert sorted(sizes(found)) == [(1, 1000, 380), (1, 1400, 380), (2, 3000, 380)]


def test_wool_beside_a_wide_obstacle_is_a_narrow_piece() -> None:
    """An 800 mm deep tank leaves 340 mm of a 1140 mm band over 1500 mm."""
    tank = Obstacle("Tank", ObstacleKind.TANK, rectangle(1000, 0, 1500, 800))
    found = pieces(4000, 1140, tank, kind="across_joists")
    assert sizes(found) == [(1, 1000, 1140), (1, 1500, 340), (1, 1500, 1140)]


def test_a_small_notch_is_cut_out_of_a_whole_piece() -> None:
    """200 x 300 mm (0.06 m2) is not worth two more pieces: one is cut and notched."""
    flue = Obstacle("Flue", ObstacleKind.CHIMNEY, rectangle(1000, 0, 200, 300))
    found = pieces(4000, 1140, flue, kind="across_joists")
    assert sizes(found) == [(1, 4000, 1140)]
    assert found[0].shape.area == pytest.approx(4000 * 1140 - 200 * 300)


def test_a_strip_round_an_obstacle_inside_it_is_cut_through_its_middle() -> None:
    flue = Obstacle("Flue", ObstacleKind.CHIMNEY, rectangle(1000, 400, 200, 200))
    found = pieces(4000, 1140, flue, kind="across_joists")
    assert sizes(found) == [(1, 1100, 1140), (1, 2900, 1140)]
    assert all(not p.shape.interiors for p in found)


def test_cuts_are_the_cheapest_of_all_ways() -> None:
    """Steps 1100, 700 and 640 mm high, each 1000 mm long; a piece is worth 0.12 m2.

    Uncut 3.3 m2 + 1 piece = 3.42; cut at 1000: 1.1 + 1.4 + 2 pieces = 2.74; at 2000: 2.2 + 0.64 + 2
    pieces = 3.08; at both: 2.44 + 3 pieces = 2.80. One cut at 1000 mm is the least.
    """
    shape = union_all([box(0, 0, 1000, 1100), box(1000, 0, 2000, 700), box(2000, 0, 3000, 640)])
    assert isinstance(shape, Polygon)
    found = sorted(piece.bounds for piece in cut_round(shape))
    assert found == [(0, 0, 1000, 1100), (1000, 0, 3000, 700)]


def test_parts_of_a_piece_add_up() -> None:
    whole = pieces(450, 5000)[0]
    low, high = whole.part(0, 1800), whole.part(1800, 3200)
    assert low.shape.area + high.shape.area == pytest.approx(whole.shape.area)
    assert high.shape.bounds[0] - whole.shape.bounds[0] == pytest.approx(1800)


def test_a_bay_wider_than_the_roll_is_shared_evenly() -> None:
    narrow = RollType("N", "Narrow", 100, 300, 8000, 0.044)
    area = LoftArea("Main", rectangle(0, 0, 450, 2000), 400, 100, 50, 90)
    layer = Layer(1, "Main", "N", 100, 90, "between_joists", "full")
    found = pieces_of(Loft((area,)), area, layer, narrow, (layer,))
    assert [(p.bay, p.width_mm) for p in sorted(found, key=lambda p: p.bay)] == [(1, 185), (2, 185)]
