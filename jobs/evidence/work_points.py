"""What a crew looks at before it calls a step of the laying done. Common practice of the trade.

They remind and are kept as evidence; none of them replaces local rules or a licensed person.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from jobs.errors import Refused
from jobs.models.site_work import WorkStep

WORDS = ("yes", "no", "n-a")
EAVES, FIRST_LAYER, CROSS_LAYERS, HATCH_AND_TANK = WorkStep.Kind.values


@dataclass(frozen=True, slots=True)
class WorkPoint:
    """One thing to look at. caution: what follows from a “no”, or why it is asked."""

    code: str
    step: str
    text: str
    caution: str
    source: str = ""
    may_not_apply: bool = True


POINTS: tuple[WorkPoint, ...] = (
    WorkPoint(
        "trays",
        EAVES,
        "Do trays hold the wool back wherever the roof comes low?",
        "Wool pushed against the roof's underside shuts off the air the timber needs.",
        "BS 5250 (ventilation of cold roofs)",
    ),
    WorkPoint(
        "air_gap",
        EAVES,
        "Is 50 mm of air free between wool and the roof's underside, all along the eaves?",
        "Pull the wool back until it is. Condensation rots rafters and nobody sees it.",
        "50 mm: common practice; openings by BS 5250",
        may_not_apply=False,
    ),
    WorkPoint(
        "heat_free",
        FIRST_LAYER,
        "Are downlights under their covers, and flues and chimneys kept clear?",
        "What gives off heat is never buried. Lift the wool off again and tell the office.",
    ),
    WorkPoint(
        "cables_clear",
        FIRST_LAYER,
        "Are cables lifted out, none under load buried?",
        "In doubt the cable lies on top of the full depth; if unsure an electrician decides.",
        "BS 7671, 523.9",
    ),
    WorkPoint(
        "snug",
        FIRST_LAYER,
        "Does the wool fill each bay from joist to joist, ends butted, nothing beneath the tank?",
        "Gaps are filled with offcuts, the one between the last joist and the wall included.",
        may_not_apply=False,
    ),
    WorkPoint(
        "crosswise",
        CROSS_LAYERS,
        "Do the layers lie at 90 degrees across the joists, butted tight?",
        "Joists are hidden from here on: boards over three joists, and only on boards.",
        "Work at Height Regulations 2005, regulation 9 (fragile surfaces)",
        may_not_apply=False,
    ),
    WorkPoint(
        "cables_on_top",
        CROSS_LAYERS,
        "Do cables under high load lie on top of the full depth?",
        "A shower or cooker cable inside the wool gets hot. If unsure an electrician decides.",
        "BS 7671, 523.9",
    ),
    WorkPoint(
        "nothing_presses",
        CROSS_LAYERS,
        "Does nothing lie on the wool?",
        "Pressed wool insulates less. Storage only on a raised deck.",
        may_not_apply=False,
    ),
    WorkPoint(
        "hatch",
        HATCH_AND_TANK,
        "Is the hatch insulated and draught-sealed?",
        "The warm moist air of the house goes through an unsealed hatch into the cold loft.",
    ),
    WorkPoint(
        "tank",
        HATCH_AND_TANK,
        "Are tank and pipes lagged, with no wool beneath the tank?",
        "The loft is colder now and unlagged water freezes. The house's warmth keeps a tank whose "
        "underside is free.",
    ),
    WorkPoint(
        "marked",
        HATCH_AND_TANK,
        "Are covered downlights and cables marked for whoever comes next?",
        "Nobody sees through the wool where a foot or a blade is dangerous.",
    ),
)


def points_of(step: str) -> tuple[WorkPoint, ...]:
    return tuple(point for point in POINTS if point.step == step)


def check_points(step: str, answers: Mapping[str, object], *, all_asked: bool) -> dict[str, str]:
    """The answers to a step's points, in order.

    Raises:
        Refused: an unknown point or word; with `all_asked`, a point left open.
    """
    asked = points_of(step)
    for code in answers:
        if code not in {point.code for point in asked}:
            raise Refused(
                f"There is no point {code!r} in this step.",
                field=f"answers.{code}",
                remedy=f"Answer these: {', '.join(point.code for point in asked)}.",
            )
    kept = {}
    for point in asked:
        answer = answers.get(point.code)
        words = WORDS if point.may_not_apply else WORDS[:2]
        if answer in (None, "") and not all_asked:
            continue
        if answer not in words:
            said = "is not answered" if answer in (None, "") else f"can't be answered {answer!r}"
            raise Refused(
                f"“{point.text}” {said}.",
                field=f"answers.{point.code}",
                remedy=f"Answer {' or '.join(words)}.",
            )
        kept[point.code] = str(answer)
    return kept


def not_in_order(step: str, answers: Mapping[str, object]) -> tuple[WorkPoint, ...]:
    """The points answered with no."""
    return tuple(point for point in points_of(step) if answers.get(point.code) == "no")
