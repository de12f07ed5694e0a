"""Marks for what stands, runs or shines in a loft, told apart by shape and hatching alone.

Each takes a sheet and sheet positions, so that the plan and the key draw the same mark.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from calculations.drawing.sheet import FAINT, INK, PALE, PAPER, SOFT, Position, Sheet, line_path
from calculations.loft import FixtureKind, ObstacleKind

WORDS_OF_OBSTACLE = {
    ObstacleKind.TANK: "Water tank: nothing beneath it",
    ObstacleKind.CHIMNEY: "Chimney or flue",
    ObstacleKind.HATCH: "Hatch",
    ObstacleKind.DECK: "Boarded deck",
}
WORDS_OF_FIXTURE = {
    FixtureKind.DOWNLIGHT: "Downlight: gives off heat",
    FixtureKind.CABLE: "Cable",
    FixtureKind.FAN: "Fan",
    FixtureKind.PIPE: "Pipe",
}


def obstacle_fill(sheet: Sheet, kind: ObstacleKind) -> str:
    """The fill of an obstacle of that kind."""
    if kind is ObstacleKind.TANK:
        waves = f'<path d="M0 4Q2 1 4 4T8 4" fill="none" stroke="{SOFT}" stroke-width="0.8"/>'
        return sheet.pattern("tank", 8, f'<rect width="8" height="8" fill="{PAPER}"/>{waves}')
    if kind is ObstacleKind.CHIMNEY:
        lines = f'<path d="M0 0V4" stroke="{INK}" stroke-width="2.4"/>'
        return sheet.pattern(
            "chimney", 4, f'<rect width="4" height="4" fill="{PAPER}"/>{lines}', 45
        )
    if kind is ObstacleKind.DECK:
        lines = f'<path d="M0 5H5" stroke="{SOFT}" stroke-width="0.8"/>'
        return sheet.pattern("deck", 5, f'<rect width="5" height="5" fill="{PALE}"/>{lines}')
    return PAPER


def obstacle(sheet: Sheet, kind: ObstacleKind, corners: Sequence[Position]) -> None:
    """An obstacle with its outline at `corners`; a hatch is crossed from corner to corner."""
    sheet.path(
        line_path(corners) + "Z",
        f"obstacle eb-{kind.value}",
        fill=obstacle_fill(sheet, kind),
        stroke=INK,
        stroke_width=1.2,
        stroke_linejoin="round",
    )
    if kind is ObstacleKind.HATCH:
        half = len(corners) // 2
        for start, end in zip(corners[:half], corners[half : 2 * half], strict=True):
            sheet.line((start, end), "hatch-cross", stroke=INK, stroke_width=0.8)


def deck_above(sheet: Sheet, corners: Sequence[Position]) -> None:
    """A deck that wool runs beneath: its outline in dashes."""
    outline = line_path(corners) + "Z"
    sheet.path(outline, "deck-above", fill="none", stroke=PAPER, stroke_width=3.2)
    sheet.path(
        outline, "deck-above", fill="none", stroke=INK, stroke_width=1.4, stroke_dasharray="5 2.5"
    )


def hole(sheet: Sheet, corners: Sequence[Position]) -> None:
    """A hole in the floor: a stairwell or a room that goes up through it."""
    dots = f'<circle cx="2.5" cy="2.5" r="0.7" fill="{SOFT}"/>'
    fill = sheet.pattern("hole", 5, f'<rect width="5" height="5" fill="{PAPER}"/>{dots}')
    sheet.path(line_path(corners) + "Z", "hole", fill=fill, stroke=INK, stroke_width=1.3)


def eaves_edge(sheet: Sheet, start: Position, end: Position, inward: Position) -> None:
    """A wall plate: a heavy line with short ticks on its outer side."""
    sheet.line((start, end), "eaves", stroke=INK, stroke_width=2.6)
    length = math.dist(start, end)
    count = max(2, round(length / 7))
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    ticks = []
    for i in range(count):
        step = (i + 0.5) * length / count
        x, y = start[0] + along[0] * step, start[1] + along[1] * step
        tip = (x - inward[0] * 4 + along[0] * 2.5, y - inward[1] * 4 + along[1] * 2.5)
        ticks.append(line_path(((x, y), tip)))
    sheet.path("".join(ticks), "eaves-ticks", fill="none", stroke=INK, stroke_width=0.8)


def run(sheet: Sheet, kind: FixtureKind, high_load: bool, start: Position, end: Position) -> None:
    """A cable or pipe from start to end."""
    if kind is FixtureKind.PIPE:
        sheet.line((start, end), "pipe", stroke=INK, stroke_width=3)
        sheet.line((start, end), "pipe", stroke=PAPER, stroke_width=1.4)
        return
    sheet.line((start, end), "cable-halo", stroke=PAPER, stroke_width=3.6)
    dash = "7 2 1.5 2" if high_load else "3 2"
    width = 2.0 if high_load else 1.2
    sheet.line((start, end), "cable", stroke=INK, stroke_width=width, stroke_dasharray=dash)
    if high_load:
        bolt(sheet, ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2))


def bolt(sheet: Sheet, at: Position) -> None:
    """The mark of a cable under high load."""
    x, y = at
    sheet.path(
        line_path(
            [(x + 1.5, y - 7), (x - 4, y + 1), (x - 0.5, y + 1), (x - 1.5, y + 7)]
            + [(x + 4, y - 1.5), (x + 0.5, y - 1.5)]
        )
        + "Z",
        "bolt",
        fill=PAPER,
        stroke=INK,
        stroke_width=1.1,
        stroke_linejoin="round",
    )


def spot(sheet: Sheet, kind: FixtureKind, at: Position) -> None:
    """A fixture at one place."""
    x, y = at
    if kind is FixtureKind.DOWNLIGHT:
        circle(sheet, at, 5, "downlight")
        d = 5 * math.sqrt(0.5)
        sheet.path(
            line_path(((x - d, y - d), (x + d, y + d)))
            + line_path(((x - d, y + d), (x + d, y - d))),
            "downlight-cross",
            stroke=INK,
            stroke_width=1,
        )
    elif kind is FixtureKind.FAN:
        circle(sheet, at, 5.5, "fan")
        for third in range(3):
            turn = math.radians(90 + 120 * third)
            tip = (x + 4.5 * math.cos(turn), y - 4.5 * math.sin(turn))
            sheet.line((at, tip), "fan-blade", stroke=INK, stroke_width=2)
    else:
        circle(sheet, at, 2.2, kind.value, fill=INK)


def circle(sheet: Sheet, at: Position, radius: float, name: str, fill: str = PAPER) -> None:
    sheet.add(
        f'<circle class="eb-{name}" cx="{at[0]:.2f}" cy="{at[1]:.2f}" r="{radius:g}" '
        f'fill="{fill}" stroke="{INK}" stroke-width="1.1"/>'
    )


def caution(sheet: Sheet, at: Position) -> None:
    """A triangle with a stroke and a dot."""
    x, y = at
    sheet.path(
        line_path([(x, y - 6), (x + 6.5, y + 5), (x - 6.5, y + 5)]) + "Z",
        "caution",
        fill=PAPER,
        stroke=INK,
        stroke_width=1.3,
        stroke_linejoin="round",
    )
    sheet.line(((x, y - 2), (x, y + 1.6)), "caution", stroke=INK, stroke_width=1.5)
    circle(sheet, (x, y + 3.2), 0.4, "caution", fill=INK)


def reading(sheet: Sheet, at: Position, state: str) -> None:
    """A depth reading: a full disc where deep enough, an open triangle (point down) where
    below, a ring where nothing is asked or the reading stands apart."""
    x, y = at
    if state == "below":
        sheet.path(
            line_path([(x - 5, y - 4), (x + 5, y - 4), (x, y + 5)]) + "Z",
            "reading eb-below",
            fill=PAPER,
            stroke=INK,
            stroke_width=1.6,
            stroke_linejoin="round",
        )
    elif state == "enough":
        circle(sheet, at, 3.2, "reading eb-enough", fill=INK)
    else:
        circle(sheet, at, 3.2, "reading eb-apart")


def wanted(sheet: Sheet, at: Position) -> None:
    """A place that still wants a reading: a cross hair in a broken ring."""
    x, y = at
    sheet.add(
        f'<circle class="eb-wanted" cx="{x:.2f}" cy="{y:.2f}" r="6" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="1.1" stroke-dasharray="2.4 1.6"/>'
    )
    cross = line_path(((x - 8, y), (x + 8, y))) + line_path(((x, y - 8), (x, y + 8)))
    sheet.path(cross, "wanted-cross", stroke=INK, stroke_width=0.9)


def plate_size(label: str) -> tuple[float, float]:
    """Half the width and half the height of a photo point's plate."""
    return 3.4 + 2.7 * len(label), 6.2


def photo_place(sheet: Sheet, at: Position, label: str, moment: str) -> None:
    """A photo point: a plate with its label; dark for after, light for before, both halves
    for both."""
    x, y = at
    half, high = plate_size(label)
    dark = moment == "after"
    sheet.add(
        f'<rect class="eb-photo eb-{moment}" x="{x - half:.2f}" y="{y - high:.2f}" '
        f'width="{2 * half:.2f}" height="{2 * high:.2f}" rx="2" '
        f'fill="{INK if dark else PAPER}" stroke="{INK}" stroke-width="1.1"/>'
    )
    if moment == "both":
        sheet.line(
            ((x - half, y + high - 1.1), (x + half, y + high - 1.1)),
            "photo-both",
            stroke=INK,
            stroke_width=2.4,
        )
    sheet.text(
        x,
        y + (2.6 if moment == "both" else 3.1),
        label,
        size=8.5,
        anchor="middle",
        weight="bold",
        fill=PAPER if dark else INK,
        name="photo-label",
    )


def photo_highlight(sheet: Sheet, at: Position, label: str) -> None:
    """Two frames round a photo point's plate: it is this one. Read in grey as well."""
    half, high = plate_size(label)
    for more, width in ((4.0, 2.4), (8.5, 1.2)):
        sheet.add(
            f'<rect class="eb-photo-highlight" x="{at[0] - half - more:.2f}" '
            f'y="{at[1] - high - more:.2f}" width="{2 * (half + more):.2f}" '
            f'height="{2 * (high + more):.2f}" rx="4" fill="none" stroke="{INK}" '
            f'stroke-width="{width}"/>'
        )


def joist_sample(sheet: Sheet, at: Position) -> None:
    x, y = at
    for offset in (-5, 0, 5):
        sheet.line(
            ((x + offset, y - 5), (x + offset, y + 5)),
            "joist",
            stroke=FAINT,
            stroke_width=1.4,
        )
