"""Where in a day the van goes back to the depot: on the board, on the map, in its list."""

from __future__ import annotations

import re

import pytest
from django.utils.html import strip_tags

from jobs.models import Depot
from jobs.planning.board import board_of
from jobs.planning.board_map import maps_of_day
from jobs.planning.round_map import Call, DepotToDraw, RoundToDraw, maps_of
from jobs.planning.travel import drive_between
from tests.factories import LayerPlanFactory
from tests.jobs.board_scene import BASE, a_board, a_crew, a_visit, next_week
from tests.jobs.planner_scene import signed_in

YARD = (52.60, -1.10)
HOME = (52.68, -1.20)
ROLL_M3 = 0.5


def a_round(*rolls, hours=2.0, gap=4.0, depot=YARD):
    """A crew whose van holds 2 m3, with visits that take so many rolls of half a cubic metre."""
    office = a_board()
    latitude, longitude = depot or (None, None)
    yard = Depot.objects.create(
        company=office.company, name="Mill Lane", nation="england", reload_minutes=30,
        latitude_deg=latitude, longitude_deg=longitude,
    )  # fmt: skip
    van = office.van(name="Small van", load_volume_m3=2.0)
    crew = a_crew(office, "Wren", van=van, depot=yard)
    for nth, count in enumerate(rolls):
        visit = a_visit(office, crew, f"{nth + 1} Loft Lane", hour=8 + nth * gap, hours=hours)
        lines = [{"roll": "own", "name": "Own wool", "count": count}]
        LayerPlanFactory(
            job=visit.job,
            packed_volume_m3=count * ROLL_M3,
            quantities={"rolls": lines if count else [], "accessories": []},
        )
    return office


def the_track(office):
    return board_of(office.planner, next_week(), 1).rows[0].tracks[0]


def page_of(office):
    asked = {"from": next_week().isoformat(), "days": 1}
    text = signed_in(office.planner).get("/planning/", asked).content.decode()
    return text, re.sub(r"\s+", " ", strip_tags(text))


@pytest.mark.django_db
def test_the_van_goes_back_before_the_visit_that_does_not_fit_any_more():
    track = the_track(a_round(2, 2, 3))

    assert [bool(block.back) for block in track.blocks] == [False, False, True]
    assert track.loads == 2
    back, block = track.blocks[2].back, track.blocks[2]
    assert back.words == "back to Mill Lane for load 2"
    assert back.steps == 6
    assert back.step + back.steps == block.leg.step
    assert back.leg.step + back.leg.steps == back.step
    assert block.leg.step + block.leg.steps == block.step
    assert back.leg.minutes == round(drive_between(HOME, YARD).minutes)
    assert block.leg.minutes == round(drive_between(YARD, HOME).minutes)
    assert block.leg.late_min == 0
    assert track.drive_min == sum(leg.minutes for leg in track.legs)


@pytest.mark.django_db
def test_too_little_time_for_the_depot_is_said():
    block = the_track(a_round(3, 3, hours=2.0, gap=2.25)).blocks[1]

    there, on = drive_between(HOME, YARD), drive_between(YARD, HOME)
    assert block.leg.is_tight
    assert block.leg.late_min == pytest.approx(there.minutes + 30 + on.minutes - 15, abs=1)
    assert block.back.step < block.step


@pytest.mark.django_db
def test_a_home_larger_than_the_van_says_that_the_van_goes_back_meanwhile():
    track = the_track(a_round(10))

    (block,) = track.blocks
    assert block.back is None and block.loads_during == (2, 3)
    assert [(mark.shape, mark.word) for mark in block.marks] == [
        ("depot", "loads 2 and 3 during it")
    ]
    assert track.loads == 3


@pytest.mark.django_db
def test_a_depot_without_a_position_is_shown_in_the_gap_without_drives():
    block = the_track(a_round(3, 3, depot=None)).blocks[1]

    assert block.back.leg is None
    assert 8 * 12 + 24 <= block.back.step
    assert block.back.step + block.back.steps <= block.step


@pytest.mark.django_db
def test_a_day_that_fits_the_van_has_no_way_back():
    track = the_track(a_round(1, 2, 0))
    assert track.loads == 1
    assert not any(block.back or block.loads_during for block in track.blocks)


@pytest.mark.django_db
def test_board_and_list_say_it_in_words_and_the_map_shows_the_depot():
    office = a_round(3, 3)
    text, words = page_of(office)

    assert "Back to Mill Lane for load 2" in words
    assert re.search(r"back to Mill Lane for load 2 after \d+ min", words)
    assert "depot; a line through it: the van goes back for a load" in words
    assert text.count('class="map-depot"') == 2  # on the map and in its legend
    board = board_of(office.planner, next_week(), 1)
    (drawn,) = maps_of_day(board, next_week()).maps
    assert [depot.text for depot in drawn.depots] == ["Mill Lane"]


def test_a_line_runs_by_way_of_the_depot_and_crews_share_its_shape():
    base = (BASE["base_latitude_deg"], BASE["base_longitude_deg"])
    depot = DepotToDraw("Mill Lane", YARD)
    calls = (
        Call(1, 1, (52.70, -1.2), "LE1", "Sampleton"),
        Call(2, 2, (52.65, -1.0), "LE2", "Sampleton", by_depot=True),
    )
    rounds = [
        RoundToDraw("Wren", base, calls, depot),
        RoundToDraw("Heron", base, calls[:1], depot),
    ]

    (drawn,) = maps_of(rounds)

    (mark,) = drawn.depots
    points = re.findall(r"[ML] ?([\d.]+ [\d.]+)", drawn.rounds[0].path)
    assert len(points) == 5
    assert points.index(f"{mark.x:.1f} {mark.y:.1f}") == 2
    assert f"{mark.x:.1f} {mark.y:.1f}" not in drawn.rounds[1].path


def test_a_depot_far_from_a_round_that_never_calls_there_does_not_shrink_its_map():
    call = Call(1, 1, (52.70, -1.2), "LE1", "Sampleton")
    far = DepotToDraw("Far yard", (55.9, -3.2))

    (drawn,) = maps_of([RoundToDraw("Wren", None, (call,), far)])

    assert drawn.depots == ()
