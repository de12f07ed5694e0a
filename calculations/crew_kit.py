"""Boards, protection and tools for a crew in a loft [common practice, no published source]."""

from __future__ import annotations

import math
from collections.abc import Iterator

from calculations.loft import Loft

BOARDS_PER_OPERATIVE = 2
JOISTS_UNDER_A_BOARD = 3
BOARD_OVERHANG_MM = 75.0
BOARD_STEP_MM = 100.0

KitLine = tuple[str, str, float, str, str, str]


def crew_kit(loft: Loft, crew_size: int) -> Iterator[KitLine]:
    """Lines as (item, name, quantity, unit, reason, caution)."""
    yield _boards(loft, crew_size)
    for item, name, reason in _PROTECTION:
        yield item, name, crew_size, "piece", reason, ""
    yield (
        "dust_mask",
        "Dust masks",
        crew_size * 2,
        "piece",
        "one each and one to change",
        "",
    )
    for item, name, reason in _TOOLS_EACH:
        yield item, name, crew_size, "piece", reason, ""
    for item, name, reason in _TOOLS_ONE:
        yield item, name, 1, "piece", reason, ""


def board_length_mm(loft: Loft) -> float:
    """Least length of a crawl board that lies on three joists wherever it is put [mm].

    Two spacings of the widest-set joists, a joist's width and an overhang at both ends,
    rounded up to 100 mm.
    """
    needed = max(
        (JOISTS_UNDER_A_BOARD - 1) * area.joist_spacing_mm
        + area.joist_width_mm
        + 2 * BOARD_OVERHANG_MM
        for area in loft.areas
    )
    return math.ceil(needed / BOARD_STEP_MM - 1e-9) * BOARD_STEP_MM


def _boards(loft: Loft, crew_size: int) -> KitLine:
    length = board_length_mm(loft)
    spacing = max(area.joist_spacing_mm for area in loft.areas)
    return (
        "crawl_board",
        f"Crawl boards, each at least {length / 1000:.1f} m",
        BOARDS_PER_OPERATIVE * crew_size,
        "piece",
        f"each is carried by at least three joists, here {spacing:g} mm apart; one to lie on "
        "and one to move on for each operative",
        "Never step between joists: plasterboard does not carry a person. Local rules for "
        "work at height apply.",
    )


_PROTECTION = (
    ("overalls", "Overalls", "wool fibres itch and old dust clings"),
    ("safety_glasses", "Safety glasses", "dust and fibres fall from above"),
    ("bump_cap", "Bump cap", "slating nails and rafters"),
    ("gloves", "Gloves", "wool, nails and sawn edges"),
)
_TOOLS_EACH = (
    ("knife", "Retractable knife", "cutting round obstacles"),
    ("tape_measure", "Tape measure", "cutting to length and width"),
    ("head_torch", "Head torch", "both hands stay free"),
)
_TOOLS_ONE = (
    ("fine_saw", "Fine-toothed saw", "rolls are sawn to width in their packaging"),
    ("work_light", "Work light with a cool lamp", "photos and readings need light"),
    ("push_pole", "Pole to push wool into the eaves", "nobody leans out over the ceiling"),
    ("depth_gauge", "Depth gauge marked in millimetres", "readings prove the depth"),
)


KIT_ITEMS: frozenset[str] = frozenset(
    {
        "crawl_board",
        "dust_mask",
        *(item for item, *_ in _PROTECTION),
        *(item for item, *_ in _TOOLS_EACH),
        *(item for item, *_ in _TOOLS_ONE),
    }
)
"""Items that serve every visit of a crew's day, so that a van carries them once."""

PROTECTION_ITEMS: frozenset[str] = frozenset({"dust_mask", *(item for item, *_ in _PROTECTION)})
"""Those of KIT_ITEMS that a person wears."""
