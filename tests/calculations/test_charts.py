"""Pictures for an audit: what is drawn is what the figures say, and reads without colour."""

from __future__ import annotations

import csv
import io
import re
from xml.etree import ElementTree

import pytest

from calculations.charts import (
    CrewDepths,
    CrewPeriod,
    MapSpot,
    SpotKind,
    Table,
    draw_crews_over_time,
    draw_depths_by_crew,
    draw_findings_map,
)
from calculations.drawing.sheet import text_width
from calculations.sampling import SamplingError

MONTHS = ("Mar 2026", "Apr 2026", "May 2026")
CELLS = (
    CrewPeriod("Wren", "Mar 2026", 40, 2),
    CrewPeriod("Wren", "May 2026", 38, 1),
    CrewPeriod("Plover", "Mar 2026", 35, 1),
    CrewPeriod("Plover", "Apr 2026", 20, 12),
)
DEPTHS = (
    CrewDepths("Wren", (262.0, 275.0, 281.0, 300.0), (270.0,) * 4),
    CrewDepths("Plover <2>", (290.0, 310.0), (300.0, 300.0)),
)
SPOTS = (
    MapSpot(0, 0, SpotKind.SOUND, "ZZ1"),
    MapSpot(0, 0, SpotKind.MAJOR, "ZZ1"),
    MapSpot(5, 8, SpotKind.CRITICAL, "ZZ2"),
    MapSpot(-9, 2, SpotKind.OBSERVATION, "ZZ2"),
)
REFUSED = r"^(cells|crews|spots|asked_mm|depths_mm|defects|east_km)"
DRAWN = {
    "crews over time": lambda: draw_crews_over_time(CELLS, MONTHS),
    "depths by crew": lambda: draw_depths_by_crew(DEPTHS),
    "map": lambda: draw_findings_map(SPOTS),
}


@pytest.fixture(params=sorted(DRAWN))
def svg(request) -> str:
    return DRAWN[request.param]()


def marks(svg: str, name: str) -> int:
    """How many shapes carry the class, those of the key taken off."""
    drawn, _, key = svg.partition('<g class="eb-key"')
    pattern = rf'class="[^"]*\beb-{name}\b[^"]*"'
    return len(re.findall(pattern, drawn)) if key else 0


def described(svg: str) -> str:
    return ElementTree.fromstring(svg).findtext("{http://www.w3.org/2000/svg}desc") or ""


def test_a_picture_stands_by_itself_and_says_what_it_shows(svg: str):
    root = ElementTree.fromstring(svg)
    title, desc = list(root)[:2]

    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert title.text and desc.text
    assert "style" not in svg and "<script" not in svg


def test_a_picture_has_no_colours(svg: str):
    """Greys alone, so that nothing is told by colour."""
    colours = set(re.findall(r"#[0-9a-f]{6}", svg))

    assert colours
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours)


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_the_same_figures_give_the_same_picture(name: str):
    assert DRAWN[name]() == DRAWN[name]()


def test_the_month_that_chance_would_not_give_stands_out():
    svg = draw_crews_over_time(CELLS, MONTHS)

    assert marks(svg, "below") == 1
    assert marks(svg, "enough") == 3
    assert "Apr 2026 12 of 20 (stands out)" in described(svg)


def test_beyond_twelve_crews_the_picture_says_that_it_is_not_all():
    cells = [CrewPeriod(f"Crew {n:02}", "Mar 2026", 10 + n, 0) for n in range(15)]
    svg = draw_crews_over_time(cells, MONTHS)

    assert marks(svg, "panel-name") == 12
    assert ">Crew 00<" not in svg and ">Crew 14<" in svg
    assert "all are in the table" in svg
    assert "Crew 00: Mar 2026 0 of 10" in described(svg)


def test_readings_below_what_is_asked_are_told_apart_from_those_that_are_not():
    """262 of 270 and 290 of 300 are below; 290 would not be under another job's rule."""
    said = described(draw_depths_by_crew(DEPTHS))

    assert "Wren: 4 readings, mean 280 mm, 1 below" in said
    assert "Plover <2>: 2 readings, mean 300 mm, 1 below" in said


def test_the_worst_of_several_homes_of_one_place_is_the_mark_and_all_are_counted():
    svg = draw_findings_map(SPOTS)

    assert marks(svg, "sound") == 0
    assert marks(svg, "major") == 1
    assert ">2 jobs<" in svg
    assert described(svg).endswith("Defective in ZZ1, ZZ2.")


def words_placed(svg: str, name: str) -> list[tuple[float, float, float, float]]:
    """Boxes of the words of a class, by the engine's own measure of their width."""
    found = re.findall(
        rf'class="eb-{name}" x="([^"]+)" y="([^"]+)" font-size="([^"]+)"[^>]*>([^<]*)<', svg
    )
    boxes = []
    for x, y, size, words in found:
        wide, high = text_width(words, float(size)), float(size)
        left = float(x) - wide / 2
        boxes.append((left, float(y) - 0.75 * high, left + wide, float(y)))
    return boxes


def test_names_of_districts_that_lie_close_cover_neither_one_another_nor_the_map_beside():
    """A town of six districts low on its map, and a second map below it."""
    town = [(0, 0), (3, 4), (-4, 3), (5, -2), (-2, -6), (2, 8)]
    spots = [MapSpot(20, 60, SpotKind.MINOR, "YY1"), MapSpot(90, -200, SpotKind.SOUND, "YY9")]
    for number, (east, north) in enumerate(town):
        spots += [MapSpot(east, north, SpotKind.SOUND, f"ZZ{number}")] * 2

    boxes = words_placed(draw_findings_map(spots), "label")

    assert len(boxes) == 14
    for number, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[number + 1 :]:
            apart = other[0] >= right or other[2] <= left or other[1] >= bottom or other[3] <= top
            assert apart, (boxes[number], other)


@pytest.mark.parametrize(
    "draw",
    [
        lambda: draw_crews_over_time([], MONTHS),
        lambda: draw_crews_over_time(CELLS, MONTHS[:1]),
        lambda: draw_depths_by_crew([]),
        lambda: draw_findings_map([]),
        lambda: CrewDepths("Wren", (1.0,), ()),
        lambda: CrewDepths("Wren", (float("nan"),), (270.0,)),
        lambda: CrewPeriod("Wren", "Mar 2026", 2, 3),
        lambda: MapSpot(float("inf"), 0, SpotKind.SOUND),
    ],
    ids=["no cells", "strange month", "no crews", "no spots", "asked", "nan", "defects", "place"],
)
def test_what_cannot_be_drawn_is_refused_by_name(draw):
    with pytest.raises(SamplingError, match=REFUSED):
        draw()


def test_a_table_comes_back_from_csv_and_runs_nothing_in_a_spreadsheet():
    table = Table(("crew", "rate"), (('Wren, "A"', 0.25), ("=1+1", None)))

    rows = list(csv.reader(io.StringIO(table.to_csv())))

    assert rows == [["crew", "rate"], ['Wren, "A"', "0.25"], ["'=1+1", ""]]
    with pytest.raises(ValueError, match="rows"):
        Table(("crew",), (("Wren", 1),))
