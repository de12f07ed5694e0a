"""What the householder should know about the loft from now on.

The usual cautions of the trade; where no source stands, common practice, no published
source. They are printed on the certificate and shown on the check page.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HouseholderCaution:
    """A short title, what to do, and where it comes from."""

    code: str
    title: str
    text: str


HOUSEHOLDER_CAUTIONS: tuple[HouseholderCaution, ...] = (
    HouseholderCaution(
        "storage",
        "Storage",
        "Put nothing on the insulation: pressed wool keeps less warmth. Store only on a raised "
        "deck that leaves the full depth beneath it.",
    ),
    HouseholderCaution(
        "ventilation",
        "Ventilation",
        "Keep the eaves open to the outside and never push wool into them: a loft that cannot "
        "dry grows mould and rots.",
    ),
    HouseholderCaution(
        "heat",
        "Lights and cables",
        "Never cover downlights, transformers or fans, and leave their covers on. Cables of "
        "showers and cookers stay on top of the wool. Have changes made by a competent "
        "electrician.",
    ),
    HouseholderCaution(
        "walking",
        "Stepping into the loft",
        "The ceiling between the joists carries nobody, and the wool hides the joists. Do not "
        "step off the boards; leave work there to people equipped for it.",
    ),
    HouseholderCaution(
        "cold_loft",
        "A colder loft",
        "The loft is colder than before: pipes and tanks need their lagging. Nothing is laid "
        "beneath a cold-water tank; leave that space free.",
    ),
    HouseholderCaution(
        "hatch",
        "The hatch",
        "Keep its seal and its insulation in place: warm damp air that rises through it "
        "condenses under the roof.",
    ),
    HouseholderCaution(
        "asbestos",
        "Old materials",
        "Old loose fill, boards, flues and lagging may hold asbestos. Do not touch, drill or sweep "
        "them: have them looked at by a licensed surveyor. In all of this local codes and licensed "
        "practice come first.",
    ),
)
