"""What to mind while a van is loaded and a loft's old dust is stirred.

The usual cautions of the trade; local rules and an employer's own assessment come first. The
regulations are named from memory, none of their texts was opened.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LoadCaution:
    title: str
    text: str
    source: str


LOADING_CAUTIONS = (
    LoadCaution(
        "Lifting and carrying",
        "Bulky rolls hide the step in front of you: one at a time, two people for a bale or where "
        "stairs turn. Heavy things low in the van, everything tied, nothing loose behind the "
        "seats. The driver answers for the weight the van may carry.",
        "Manual Handling Operations Regulations 1992, reg. 4",
    ),
    LoadCaution(
        "Dust and fibres",
        "Rolls stay packed until they are laid. Old wool is dusty: mask on before it is moved. "
        "Loose granules or boards that may hold asbestos: stop, keep out, report.",
        "Control of Substances Hazardous to Health Regulations 2002; Control of Asbestos "
        "Regulations 2012",
    ),
    LoadCaution(
        "Protective equipment",
        "Whole and clean before the van leaves: overalls, mask that fits its wearer, safety "
        "glasses, bump cap, gloves. Without it nobody goes into a loft.",
        "Personal Protective Equipment at Work Regulations 1992",
    ),
)
