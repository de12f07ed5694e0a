"""The kinds of things that a survey tells apart; their values are what is stored."""

from __future__ import annotations

from enum import StrEnum


class Condition(StrEnum):
    """What is done with insulation that is already there."""

    KEEP = "keep"
    LEVEL = "level"
    REMOVE = "remove"


class ObstacleKind(StrEnum):
    TANK = "tank"
    CHIMNEY = "chimney"
    HATCH = "hatch"
    DECK = "deck"


class FixtureKind(StrEnum):
    DOWNLIGHT = "downlight"
    CABLE = "cable"
    FAN = "fan"
    PIPE = "pipe"


class HazardKind(StrEnum):
    ASBESTOS = "asbestos"
    VERMICULITE = "vermiculite"
    BATS_OR_BIRDS = "bats_or_birds"
    WET_TIMBER = "wet_timber"
    DAMAGED_WIRING = "damaged_wiring"
    FRAGILE_CEILING = "fragile_ceiling"
    OTHER = "other"


class RoofForm(StrEnum):
    DUO_PITCH = "duo_pitch"
    HIPPED = "hipped"
    LEAN_TO = "lean_to"


class Underlay(StrEnum):
    FELT = "felt"
    BREATHER = "breather"
    FOIL_OR_BOARDS = "foil_or_boards"
    NONE = "none"
