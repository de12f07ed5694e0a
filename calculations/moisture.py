"""Air and damp in a cold roof: openings, the air path at the eaves, cold ceilings.

References
----------
BS 5250 (Management of moisture in buildings, Code of practice), cold pitched roofs with
    insulation at the ceiling, as several secondary pages report it: openings at the eaves
    equal to a continuous slot of 10 mm, or of 25 mm where the pitch is 15 degrees or less;
    5 mm at high level besides where the pitch is over 35 degrees, the span over 10 m, or the
    roof a lean-to. A continuous 10 mm is 10,000 mm2 for each metre.
ISO 13788 and BRE IP 1/06: see calculations.surface_humidity.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Literal, Protocol

from calculations.ceilings import HATCH_INSULATION_MM, LaidWool
from calculations.climate import MONTH_NAMES, climate_region
from calculations.headroom import AIR_GAP_MM, distance_for_mm, room_mm
from calculations.heat_zones import PlacedWool, place_wool, wool_at
from calculations.loft import (
    FixtureKind,
    HazardKind,
    Loft,
    LoftArea,
    ObstacleKind,
    Roof,
    RoofForm,
    Underlay,
)
from calculations.surface_humidity import (
    LEAST_FACTOR_DWELLINGS,
    ceiling_factor,
    critical_month,
    hatch_factor,
)

SOURCE_OPENINGS = "BS 5250, cold pitched roofs (as secondary pages report it)"
SOURCE_AIR_PATH = "50 mm air path: common practice, also in secondary pages on BS 5250"
SOURCE_MOULD = "ISO 13788, clause 5; BRE IP 1/06 (0.75 in dwellings)"
SOURCE_PRACTICE = "common practice, no published source"
NEW_WOOL_CONDUCTIVITY = 0.044


class LaidLayer(Protocol):
    """What this module asks of a planned layer (calculations.layers.Layer has it)."""

    @property
    def area(self) -> str: ...
    @property
    def thickness_mm(self) -> float: ...
    @property
    def kind(self) -> Literal["between_joists", "across_joists"]: ...
    @property
    def covers(self) -> Literal["full", "eaves", "middle"]: ...


@dataclass(frozen=True, slots=True)
class MoistureNote:
    """One finding: where it is, how grave, in words, and on what ground."""

    where: str
    severity: Literal["warning", "note"]
    text: str
    source: str

    def to_dict(self) -> dict[str, object]:
        """JSON-able copy."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class RequiredOpenings:
    """Continuous ventilation slots that a cold roof needs [mm]; high_level_mm 0 for none.

    eaves_reason, high_level_reasons: why, in words.
    """

    eaves_mm: float
    high_level_mm: float
    eaves_reason: str
    high_level_reasons: tuple[str, ...]

    @property
    def eaves_mm2_per_m(self) -> float:
        """The same as free area for each metre of eaves [mm2/m]."""
        return self.eaves_mm * 1000

    @property
    def high_level_mm2_per_m(self) -> float:
        """The same as free area for each metre of ridge [mm2/m]."""
        return self.high_level_mm * 1000


def required_openings(roof: Roof) -> RequiredOpenings:
    """Openings by BS 5250 for a roof with a high-resistance underlay.

    An underlay that breathes may need less by its certificate; that is not credited here.
    """
    low_pitch = roof.pitch_deg <= 15
    eaves_mm = 25.0 if low_pitch else 10.0
    reason = f"pitch {roof.pitch_deg:g}° is {'not ' if low_pitch else ''}over 15°"
    high_reasons = []
    if roof.pitch_deg > 35:
        high_reasons.append(f"pitch {roof.pitch_deg:g}° is over 35°")
    if roof.span_m is not None and roof.span_m > 10:
        high_reasons.append("span over 10 m")
    if roof.form is RoofForm.LEAN_TO:
        high_reasons.append("lean-to roof")
    return RequiredOpenings(eaves_mm, 5.0 if high_reasons else 0.0, reason, tuple(high_reasons))


def check_moisture(
    loft: Loft,
    layers: Sequence[LaidLayer],
    *,
    region: str = "uk_average",
    hatch_insulation_mm: float | None = None,
) -> tuple[MoistureNote, ...]:
    """Findings on air and damp for the layers planned, gravest first.

    Parameters
    ----------
    loft, layers : the loft and what is to be laid in it, lowest first, a thin starter right
        before its thicker neighbour; insulation that stays counts too.
    region : key of calculations.climate.CLIMATE_REGIONS, for the month that decides on mould.
    hatch_insulation_mm : what will lie on the back of the hatch lid [mm]; None is what is
        always fixed there when anything is laid, nothing when not.
    """
    if hatch_insulation_mm is None:
        hatch_insulation_mm = HATCH_INSULATION_MM if layers else 0.0
    notes: list[MoistureNote] = []
    notes += _openings(loft.roof)
    for area in loft.areas:
        if area.eaves_edges:
            placed = _placed(loft.roof, area, layers)
            notes += _air_path(loft.roof, area, placed)
            notes += _cold_ceiling(loft.roof, area, placed, region)
    notes += _hatch(loft, hatch_insulation_mm)
    notes += _damp_sources(loft)
    return tuple(sorted(notes, key=lambda note: note.severity == "note"))


def _openings(roof: Roof) -> list[MoistureNote]:
    needed = required_openings(roof)
    high_level_why = ", ".join(needed.high_level_reasons)
    places = (
        ("eaves", roof.eaves_opening_mm, needed.eaves_mm, needed.eaves_reason),
        ("ridge", roof.ridge_opening_mm, needed.high_level_mm, high_level_why),
    )
    notes = []
    for where, found_mm, needed_mm, why in places:
        if needed_mm == 0:
            continue
        enough = found_mm >= needed_mm
        words = (
            "is enough" if enough else f"is too little: open up {needed_mm - found_mm:g} mm more"
        )
        notes.append(
            MoistureNote(
                where,
                "note" if enough else "warning",
                f"An opening equal to a continuous {found_mm:g} mm {words}; "
                f"{needed_mm:g} mm ({needed_mm * 1000:,.0f} mm² a metre) is asked for ({why}).",
                SOURCE_OPENINGS,
            )
        )
    if roof.underlay is Underlay.BREATHER:
        text = (
            "The underlay breathes: its certificate may allow smaller openings where the ceiling "
            "is well sealed. The figures here do not credit that."
        )
        notes.append(MoistureNote("roof", "note", text, SOURCE_OPENINGS))
    return notes


def _placed(roof: Roof, area: LoftArea, layers: Sequence[LaidLayer]) -> list[PlacedWool]:
    """What will lie in the area, with how near to the wall plate each layer comes."""
    wool = []
    if area.kept_depth_mm > 0:
        conductivity = area.existing_conductivity_w_mk
        wool.append(LaidWool(area.kept_depth_mm, conductivity, "between_joists", existing=True))
    wool += [
        LaidWool(layer.thickness_mm, NEW_WOOL_CONDUCTIVITY, layer.kind, layer.covers)
        for layer in layers
        if layer.area == area.name
    ]
    return place_wool(area, roof, wool)


def _air_path(roof: Roof, area: LoftArea, placed: Sequence[PlacedWool]) -> list[MoistureNote]:
    """Whether what lies at the eaves leaves the air path open, and what is left bare for it."""
    where = f"{area.name}: eaves"
    room = room_mm(roof, 0.0)
    notes = []
    if area.kept_depth_mm > room + 1e-9:
        text = (
            f"{area.kept_depth_mm:g} mm of wool that is there already closes the "
            f"{AIR_GAP_MM:g} mm air path at the wall plate, where there is room for {room:.0f} mm: "
            f"draw it back {distance_for_mm(roof, area.kept_depth_mm):.0f} mm, or fit an eaves "
            "tray in every rafter bay."
        )
        notes.append(MoistureNote(where, "warning", text, SOURCE_AIR_PATH))
    new = [p for p in placed if not p.layer.existing]
    pressed = [p for p in new if p.starts_mm < p.full_mm]
    for p in pressed:
        notes.append(MoistureNote(where, "note", _pressed_words(roof, p), SOURCE_AIR_PATH))
    starts = sorted({round(p.starts_mm) for p in new if p not in pressed})
    if starts and starts[-1] > 0:
        which = "other layers" if pressed else "layers"
        steps = ", ".join(f"{start} mm" for start in starts)
        text = (
            f"To keep {AIR_GAP_MM:g} mm of air under the roof the {which} begin {steps} from the "
            "wall plate. Wool pushed further down blocks the air: fit an eaves tray in every "
            "rafter bay where the end of a strip might slip."
        )
        notes.append(MoistureNote(where, "note", text, SOURCE_AIR_PATH))
    elif placed and not notes:
        text = (
            f"All layers leave the {AIR_GAP_MM:g} mm air path open right to the wall plate. Do "
            "not push them further down."
        )
        notes.append(MoistureNote(where, "note", text, SOURCE_AIR_PATH))
    return notes


def _pressed_words(roof: Roof, placed: PlacedWool) -> str:
    end_mm = room_mm(roof, placed.starts_mm) - placed.base_mm
    reach = f"to {placed.starts_mm:.0f} mm from" if placed.starts_mm >= 0.5 else "to"
    return (
        f"The lowest layer runs on {reach} the wall plate: fit an eaves tray in every rafter bay "
        f"first. It presses the last {placed.full_mm - placed.starts_mm:.0f} mm of the "
        f"{placed.layer.thickness_mm:g} mm wool down to {end_mm:.0f} mm and holds "
        f"{AIR_GAP_MM:g} mm of air open."
    )


def _cold_ceiling(
    roof: Roof, area: LoftArea, placed: Sequence[PlacedWool], region: str
) -> list[MoistureNote]:
    factor = ceiling_factor(wool_at(placed, 0.0), area.joist_depth_mm, roof.underlay)
    month = critical_month(climate_region(region))
    text = (
        f"Temperature factor of the ceiling at the wall plate {factor:.2f} (one-dimensional); "
        f"{LEAST_FACTOR_DWELLINGS:g} is asked of dwellings, and an ordinarily lived-in room asks "
        f"for {month.factor:.2f} in {MONTH_NAMES[month.month - 1]} (humidity class 3). "
    )
    where = f"{area.name}: eaves"
    if factor >= LEAST_FACTOR_DWELLINGS:
        text += "Carry the wool on to the head of the wall, so that no bare strip is left."
        return [MoistureNote(where, "note", text, SOURCE_MOULD)]
    likely = "likely" if factor < month.factor else "to be feared where rooms are damp"
    text += f"{_what_lies_at_the_plate(placed)}, and mould along the wall is {likely}: "
    text += _remedy_at_the_plate(placed)
    return [MoistureNote(where, "warning", text, SOURCE_MOULD)]


def _what_lies_at_the_plate(placed: Sequence[PlacedWool]) -> str:
    there_mm = sum(layer.thickness_mm for layer in wool_at(placed, 0.0))
    if there_mm > 0:
        return f"Only {there_mm:.0f} mm of wool lies there"
    bare_mm = min((p.starts_mm for p in placed), default=math.inf)
    return "It lies bare" if math.isinf(bare_mm) else f"A strip of {bare_mm:.0f} mm lies bare"


def _remedy_at_the_plate(placed: Sequence[PlacedWool]) -> str:
    if any(not p.layer.existing and p.starts_mm <= 0 for p in placed):
        return (
            "there is no room for more beneath the air path. Put insulation of lower conductivity "
            "there, or carry insulation on along the rafters or the wall."
        )
    return (
        "let the lowest new layer run on as near to the plate as an eaves tray that holds the air "
        "path open allows, or put a thinner insulation of lower conductivity there."
    )


def _hatch(loft: Loft, insulation_mm: float) -> list[MoistureNote]:
    notes = []
    for obstacle in loft.obstacles:
        if obstacle.kind is not ObstacleKind.HATCH:
            continue
        factor = hatch_factor(insulation_mm, underlay=loft.roof.underlay)
        enough = factor >= LEAST_FACTOR_DWELLINGS
        state = f"with {insulation_mm:g} mm on it" if insulation_mm else "bare"
        text = (
            f"Temperature factor of the hatch lid {state}: {factor:.2f} "
            f"({LEAST_FACTOR_DWELLINGS:g} is asked of dwellings). "
        )
        text += (
            "Seal its rim against draught: room air that rises into the loft wets the roof."
            if enough
            else "Insulate the lid and seal its rim, or it will be wet in cold weather."
        )
        severity: Literal["warning", "note"] = "note" if enough else "warning"
        notes.append(MoistureNote(obstacle.name, severity, text, SOURCE_MOULD))
    return notes


def _damp_sources(loft: Loft) -> list[MoistureNote]:
    notes = []
    for fixture in loft.fixtures:
        if fixture.kind is FixtureKind.FAN:
            text = (
                "An extract fan must blow outdoors through a duct that is insulated in the cold "
                "loft, never into the loft."
            )
            notes.append(MoistureNote(fixture.name, "warning", text, SOURCE_PRACTICE))
    if any(hazard.kind is HazardKind.WET_TIMBER for hazard in loft.hazards):
        text = "Wet timber was found: find and mend the cause before anything is covered."
        notes.append(MoistureNote("roof", "warning", text, SOURCE_PRACTICE))
    text = (
        "A colder loft is a damper one: seal every gap round cables, pipes, downlights and "
        "partition heads before laying."
    )
    notes.append(MoistureNote("ceiling", "note", text, SOURCE_OPENINGS))
    return notes
