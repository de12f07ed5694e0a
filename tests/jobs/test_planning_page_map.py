"""The map of a day's rounds: to scale, in order, nothing covered, told in words beside it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from jobs.planning.map_labels import CREW, DEPOT, DISTRICT, Box
from jobs.planning.round_map import (
    MARGIN,
    SPOT,
    WIDTH,
    Call,
    DepotToDraw,
    RoundToDraw,
    maps_of,
    transverse_mercator,
)

LEICESTER, DERBY, EDINBURGH = (52.634, -1.131), (52.921, -1.477), (55.939, -3.236)


def a_round(crew="Wren", base=LEICESTER, *places):
    calls = tuple(
        Call(key, key, place, f"LE{key}", "Sampleton") for key, place in enumerate(places, start=1)
    )
    return RoundToDraw(crew, base, calls)


def test_distances_on_the_map_are_true_to_its_scale_bar_in_every_direction():
    north, east = (52.734, -1.131), (52.634, -0.931)

    (drawn,) = maps_of([a_round("Wren", LEICESTER, north, east)])

    unit = drawn.scale_length / drawn.scale_km
    base, spots = drawn.rounds[0].base, drawn.rounds[0].spots
    for spot, place in zip(spots, (north, east), strict=True):
        km = math.hypot(*transverse_mercator(place, LEICESTER))
        units = math.hypot(spot.true_x - base.x, spot.true_y - base.y)
        assert units == pytest.approx(km * unit, rel=0.01)


def test_rounds_near_each_other_share_a_map_and_far_ones_get_their_own():
    rounds = [
        a_round("Wren", LEICESTER, (52.64, -1.2)),
        a_round("Heron", DERBY, (52.93, -1.5)),
        a_round("Linnet", EDINBURGH, (55.95, -3.2)),
    ]

    maps = maps_of(rounds)

    assert [[drawn.crew for drawn in one.rounds] for one in maps] == [["Wren", "Heron"], ["Linnet"]]


def test_stops_at_one_place_are_moved_apart_and_tied_to_it():
    (drawn,) = maps_of([a_round("Wren", LEICESTER, *[(52.70, -1.2)] * 5)])

    spots = drawn.rounds[0].spots
    for one in spots:
        for other in spots:
            if one is not other:
                assert math.hypot(one.x - other.x, one.y - other.y) >= 2 * SPOT - 1
    assert sum(spot.is_moved for spot in spots) >= 4
    assert {(spot.true_x, spot.true_y) for spot in spots} == {(spots[0].true_x, spots[0].true_y)}


def test_everything_lies_inside_the_picture():
    places = [(52.2 + n / 7, -1.9 + n / 5) for n in range(8)]

    (drawn,) = maps_of([a_round("Wren", LEICESTER, *places)])

    for spot in drawn.rounds[0].spots:
        assert 0 < spot.x < WIDTH and 0 < spot.y < drawn.height
        assert MARGIN - 1 <= spot.true_x <= WIDTH - MARGIN + 1


def test_crews_are_told_apart_without_colour():
    crews = ("Wren", "Heron", "Linnet", "Swift")

    (drawn,) = maps_of(a_round(crew, LEICESTER, (52.7, -1.2)) for crew in crews)

    assert len({one.dash for one in drawn.rounds}) == 4
    assert [one.name.text for one in drawn.rounds] == list(crews)


def test_a_round_without_any_known_place_is_on_no_map():
    assert maps_of([a_round("Wren", None)]) == ()


def test_the_same_rounds_give_the_same_picture():
    rounds = [a_round("Wren", LEICESTER, *[(52.70, -1.2)] * 4)]

    assert maps_of(rounds) == maps_of(rounds)


def test_no_name_lies_over_another_or_over_a_stop_a_base_or_a_depot():
    depot = DepotToDraw("Midlands depot", (52.635, -1.132))
    rounds = [
        replace(a_round("Wren", LEICESTER, (52.7, -1.2), (52.72, -1.1)), depot=depot),
        replace(a_round("Survey Swift", LEICESTER, (52.6, -1.2), (52.69, -1.19)), depot=depot),
    ]

    (drawn,) = maps_of(rounds)

    names = [CREW.box(each.name.text, each.name.x, each.name.y) for each in drawn.rounds]
    names += [DEPOT.box(name.text, name.x, name.y) for name in drawn.depot_names]
    names += [DISTRICT.box(name.text, name.x, name.y) for name in drawn.labels]
    things = [Box.about(s.x, s.y, 11, 11) for each in drawn.rounds for s in each.spots]
    things += [Box.about(each.base.x, each.base.y, 6, 6) for each in drawn.rounds]
    things += [Box.about(each.x, each.y, 12, 10) for each in drawn.depots]
    assert len(names) >= 5
    for nth, name in enumerate(names):
        assert not any(name.covers(other) for other in names[nth + 1 :])
        assert not any(name.covers(thing) for thing in things)
