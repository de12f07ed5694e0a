"""What a job takes besides wool, each line with the reason why it is there.

Counts come from the survey and the layers. Where a rate or share is used it is common
practice with no published source, and its constant says so. None of these lines replaces
local codes, a product's own instructions, or a competent person for electricity, asbestos
and work at height.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calculations.ceilings import HATCH_INSULATION_MM
from calculations.crew_kit import crew_kit
from calculations.layers import Layer
from calculations.loft import (
    Condition,
    Fixture,
    FixtureKind,
    HazardKind,
    Loft,
    LoftArea,
    LoftError,
    ObstacleKind,
    net_polygon,
)
from calculations.outlines import MM2_PER_M2
from calculations.records import Plain, plain_dict

SEALED_PER_TUBE_M = 10.0
"""Bead that a 310 ml tube gives at about 6 mm [common practice]."""

BEAD_PER_PENETRATION_M = 0.4
"""Bead round one cable, pipe or fitting where it passes the ceiling [common practice]."""

STORED_M3_PER_BAG = 0.12
"""Old loose or quilted wool that one rubble bag takes when pressed in [common practice]."""

POINT_PIPE_M = 1.0
"""Lagging for a pipe surveyed as a point: it rises through the loft [common practice]."""

ELECTRICIAN = (
    "If in doubt leave it on top and uncovered; a competent electrician decides whether a "
    "cable may be covered."
)


@dataclass(frozen=True, slots=True)
class AccessoryLine:
    """One line of the load list besides the rolls.

    item: a stable word for programs. quantity counts `unit`. caution: what can hurt someone,
    or whose say it is; empty where nothing special holds.
    """

    item: str
    name: str
    quantity: float
    unit: str
    reason: str
    caution: str = ""

    def to_dict(self) -> dict[str, Plain]:
        return plain_dict(self)


def accessories_for(
    loft: Loft, layers: Sequence[Layer], *, crew_size: int = 2
) -> tuple[AccessoryLine, ...]:
    """Everything besides wool for `layers` in `loft` and a crew of `crew_size`.

    In the order in which it is needed: hazards to clear, heat and electricity, air sealing,
    eaves, tanks and pipes, hatch, decks, then boards, protection and tools. Lengths in m,
    floors in m2, the rest in pieces. Raises LoftError for a crew that cannot be.
    """
    if not 1 <= crew_size <= 12:
        raise LoftError("crew_size", f"is {crew_size}.", "Give the operatives, 1 to 12.")
    lines = [
        *_hazards(loft),
        *_removal(loft),
        *_heat_and_electricity(loft),
        *_sealing(loft),
        *_eaves(loft, layers),
        *_water(loft),
        *_flues(loft),
        *_hatches(loft),
        *_decks(loft, layers),
    ]
    lines += [AccessoryLine(*line) for line in crew_kit(loft, crew_size)]
    return tuple(lines)


def _hazards(loft: Loft) -> Iterator[AccessoryLine]:
    """Nothing else starts before these are cleared."""
    for hazard in loft.hazards:
        words = _HAZARD_LINES.get(hazard.kind)
        if words is None:
            name, reason, caution = (
                "Hazard to clear before work",
                "recorded in the survey",
                "Do not start until a competent person has cleared it.",
            )
        else:
            name, reason, caution = words
        if hazard.note:
            reason = f"{reason}: {hazard.note}"
        yield AccessoryLine(f"hold_{hazard.kind.value}", name, 1, "check", reason, caution)


_HAZARD_LINES = {
    HazardKind.ASBESTOS: (
        "Asbestos sample and clearance",
        "suspected asbestos in the survey",
        "Stop, keep out, report. Sampling and removal by licensed people only.",
    ),
    HazardKind.VERMICULITE: (
        "Asbestos sample of the loose fill",
        "loose-fill vermiculite may hold asbestos",
        "Stop, keep out, report. Do not disturb it; licensed people only.",
    ),
    HazardKind.BATS_OR_BIRDS: (
        "Word from the statutory body",
        "signs of bats or birds in the survey",
        "Roosts are protected even when empty. Stop and ask before going on.",
    ),
    HazardKind.WET_TIMBER: (
        "Cause of damp found and put right",
        "wet timber in the survey",
        "Insulating over damp hides and worsens rot.",
    ),
    HazardKind.DAMAGED_WIRING: (
        "Electrician's visit",
        "damaged wiring in the survey",
        "Do not touch or cover it. Circuit off and made safe by a competent electrician.",
    ),
    HazardKind.FRAGILE_CEILING: (
        "Access plan for a fragile ceiling",
        "fragile ceiling in the survey",
        "Boards over at least three joists throughout; falls through ceilings kill. Local "
        "rules for work at height apply.",
    ),
}


def _removal(loft: Loft) -> Iterator[AccessoryLine]:
    volume = sum(
        net_polygon(loft, area).area / MM2_PER_M2 * area.existing_depth_mm / 1000
        for area in loft.areas
        if area.existing_condition is Condition.REMOVE
    )
    if volume > 0:
        yield AccessoryLine(
            "rubble_bag",
            "Bags for old insulation",
            math.ceil(volume / STORED_M3_PER_BAG),
            "bag",
            f"{volume:.1f} m³ of old insulation is taken out, about {STORED_M3_PER_BAG:g} m³ a bag",
            "Old insulation holds dust and droppings: masks on. If it looks like loose "
            "granules, stop: it may hold asbestos.",
        )


def _of_kind(loft: Loft, kind: FixtureKind) -> list[Fixture]:
    return [f for f in loft.fixtures if f.kind is kind]


def _heat_and_electricity(loft: Loft) -> Iterator[AccessoryLine]:
    lights = _of_kind(loft, FixtureKind.DOWNLIGHT)
    if lights:
        yield AccessoryLine(
            "downlight_cover",
            "Downlight covers, non-combustible",
            len(lights),
            "piece",
            "recessed lights give off heat; each is covered before wool is laid: "
            + ", ".join(f.name for f in lights),
            "Fit as the cover's and the light's makers say. A light that is not made for a "
            "cover is for an electrician.",
        )
    loaded = [f for f in _of_kind(loft, FixtureKind.CABLE) if f.high_load]
    if loaded:
        yield AccessoryLine(
            "cable_on_top",
            "Cables kept on top of the full depth",
            round(sum(run_m(f) for f in loaded), 1),
            "m",
            "a loaded cable within wool gets hot: " + ", ".join(f.name for f in loaded),
            ELECTRICIAN,
        )
    others = [f for f in _of_kind(loft, FixtureKind.CABLE) if not f.high_load]
    if others:
        yield AccessoryLine(
            "cable_clip",
            "Cables lifted and clipped",
            round(sum(run_m(f) for f in others), 1),
            "m",
            "other cables are lifted clear and lie on top where they reach: "
            + ", ".join(f.name for f in others),
            ELECTRICIAN,
        )
    fans = _of_kind(loft, FixtureKind.FAN)
    if fans:
        yield AccessoryLine(
            "fan_duct",
            "Insulated duct to the outside, with clips",
            len(fans),
            "set",
            "a fan that blows into the loft wets it: " + ", ".join(f.name for f in fans),
            "Wiring of a fan is for an electrician.",
        )


def run_m(fixture: Fixture) -> float:
    """Length of a run on plan [m]; 0 for a point."""
    if fixture.to_x_mm is None or fixture.to_y_mm is None:
        return 0.0
    return math.dist((fixture.x_mm, fixture.y_mm), (fixture.to_x_mm, fixture.to_y_mm)) / 1000


def penetrations(loft: Loft) -> int:
    """Places where something surveyed passes the ceiling: each fixture, a run at both ends."""
    return sum(1 if f.to_x_mm is None else 2 for f in loft.fixtures)


def _sealing(loft: Loft) -> Iterator[AccessoryLine]:
    count = penetrations(loft)
    bead = count * BEAD_PER_PENETRATION_M
    yield AccessoryLine(
        "sealant",
        "Sealant for gaps in the ceiling",
        max(1, math.ceil(bead / SEALED_PER_TUBE_M)),
        "tube",
        "warm damp air must not rise past cables, pipes and partition heads "
        f"({count} place{'' if count == 1 else 's'} surveyed); sealed from the loft before "
        "wool is laid",
        "Not against hot flues or lights: heat-resistant products there, as their makers say.",
    )
    yield AccessoryLine(
        "sealing_tape",
        "Tape and grommets",
        1,
        "set",
        "for gaps too wide for sealant",
    )


def _eaves(loft: Loft, layers: Sequence[Layer]) -> Iterator[AccessoryLine]:
    laid = {layer.area for layer in layers if layer.covers != "middle"}
    bays = {area.name: rafter_bays(area) for area in loft.areas if area.name in laid}
    total = sum(bays.values())
    if total:
        told = ", ".join(f"{name} {count}" for name, count in bays.items() if count)
        yield AccessoryLine(
            "eaves_tray",
            "Eaves trays, one a rafter bay",
            total,
            "piece",
            "they keep a 50 mm air path open between wool and roof; rafters taken at the "
            f"joists' spacing: {told}",
            "Lie on boards and reach out with a pole; do not lean on the ceiling at the eaves.",
        )


def rafter_bays(area: LoftArea) -> int:
    """Bays between rafters along the area's eaves edges, rafters at the joists' spacing."""
    return sum(
        math.ceil(math.dist(*area.edge_mm(index)) / area.joist_spacing_mm - 1e-9)
        for index in area.eaves_edges
    )


def _water(loft: Loft) -> Iterator[AccessoryLine]:
    tanks = [o for o in loft.obstacles if o.kind is ObstacleKind.TANK]
    if tanks:
        yield AccessoryLine(
            "tank_jacket",
            "Tank jacket and close-fitting lid",
            len(tanks),
            "set",
            "the loft gets colder; nothing is laid beneath a cold-water tank, so that warmth "
            "from below still reaches it: " + ", ".join(o.name for o in tanks),
            "Leave overflow and vent pipes free.",
        )
    pipes = _of_kind(loft, FixtureKind.PIPE)
    length = sum(run_m(p) or POINT_PIPE_M for p in pipes)
    if pipes or tanks:
        reason = "pipes in the colder loft can freeze: " + ", ".join(p.name for p in pipes)
        if not pipes:
            reason = f"no pipe was surveyed; {POINT_PIPE_M:g} m a tank is taken"
            length = POINT_PIPE_M * len(tanks)
        yield AccessoryLine(
            "pipe_lagging", "Pipe lagging", math.ceil(length * 1.05 - 1e-9), "m", reason
        )


def _flues(loft: Loft) -> Iterator[AccessoryLine]:
    flues = [o for o in loft.obstacles if o.kind is ObstacleKind.CHIMNEY]
    if flues:
        yield AccessoryLine(
            "flue_guard",
            "Non-combustible edging round chimneys and flues",
            round(sum(o.polygon().length for o in flues) / 1000, 1),
            "m",
            "wool is cut round them: " + ", ".join(o.name for o in flues),
            "A flue in use is hot: the clearance is what local codes and the appliance's "
            "maker say.",
        )


def _hatches(loft: Loft) -> Iterator[AccessoryLine]:
    hatches = [o for o in loft.obstacles if o.kind is ObstacleKind.HATCH]
    if not hatches:
        return
    yield AccessoryLine(
        "hatch_insulation",
        "Insulation fixed to the hatch",
        round(sum(o.polygon().area for o in hatches) / MM2_PER_M2, 2),
        "m2",
        f"a bare hatch is a hole in the layer; {HATCH_INSULATION_MM:g} mm is taken for the U-value "
        "after (common practice, no published source)",
        "Check hinges and catches: a heavier hatch can fall.",
    )
    yield AccessoryLine(
        "draught_strip",
        "Draught strip round the hatch",
        round(sum(o.polygon().length for o in hatches) / 1000, 1),
        "m",
        "warm damp air must not rise into the loft",
    )
    yield AccessoryLine(
        "hatch_catch",
        "Catches that pull the hatch tight",
        2 * len(hatches),
        "piece",
        "the strip seals only when pressed",
    )


def _decks(loft: Loft, layers: Sequence[Layer]) -> Iterator[AccessoryLine]:
    decks = [o for o in loft.obstacles if o.kind is ObstacleKind.DECK]
    top = max((layer.top_mm for layer in layers), default=0.0)
    low = [o for o in decks if o.underside_mm is None or o.underside_mm < top]
    if low:
        yield AccessoryLine(
            "deck_support",
            "Supports that raise the deck",
            round(sum(o.polygon().area for o in low) / MM2_PER_M2, 1),
            "m2",
            f"boards over wool must not press it: their underside goes above {top:.0f} mm: "
            + ", ".join(o.name for o in low),
            "Joists carry the ceiling, not a store: what they may bear is for a competent person.",
        )
