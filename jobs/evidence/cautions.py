"""What the householder is told at the handover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jobs.errors import Refused


@dataclass(frozen=True, slots=True)
class HandoverCaution:
    """A caution in the words the householder hears. always: given at every handover."""

    code: str
    text: str
    always: bool = True


# Common practice of the trade, no published source.
CAUTIONS: tuple[HandoverCaution, ...] = (
    HandoverCaution(
        "storage",
        "Keep nothing on the insulation: pressed together it insulates less. Storage only on a "
        "raised deck that leaves it its full depth.",
    ),
    HandoverCaution(
        "ventilation",
        "Leave the openings at the eaves and ridge free: they keep the colder loft dry.",
    ),
    HandoverCaution(
        "walking",
        "Never step between the joists: they are hidden now, and a ceiling does not carry you.",
    ),
    HandoverCaution(
        "cables",
        "Leave cables that lie on top uncovered, and covers over downlights where they are. "
        "Electrical work is for a competent person.",
    ),
    HandoverCaution(
        "cold_water",
        "The loft is colder now: look at tank and pipes in the first frost.",
        always=False,
    ),
    HandoverCaution(
        "not_done", "What was left undone, why, and who will come back for it.", always=False
    ),
)


def checked_cautions(codes: Sequence[str]) -> list[str]:
    """The codes in their usual order, once each.

    Raises:
        Refused: a code is unknown, or a caution that every householder must hear is missing.
    """
    known = [caution.code for caution in CAUTIONS]
    for code in codes:
        if code not in known:
            raise Refused(
                f"There is no caution {code!r}.",
                field="cautions_given",
                remedy=f"Choose from: {', '.join(known)}.",
            )
    missing = [c for c in CAUTIONS if c.always and c.code not in codes]
    if missing:
        raise Refused(
            f"Not told yet: {missing[0].text}",
            field="cautions_given",
            remedy="Tell the householder, then mark it.",
        )
    return [code for code in known if code in codes]
