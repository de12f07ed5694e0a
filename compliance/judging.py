"""From the evidence of a job to its verdict, as a pure step that can be taken again.

`Evidence` is everything a verdict rests on, in plain values; `judge_evidence` needs nothing
else, neither database nor clock. An assessment keeps both sides, so the same answer can be
reached years later.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from calculations import ENGINE_VERSION
from calculations.depths import (
    ArithmeticStep,
    DepthError,
    DepthRequirement,
    DepthVerdict,
    Reading,
    assess_depths,
)
from calculations.drawing.photo_points import photo_points
from calculations.loft import LoftError, loft_from_dict
from calculations.records import Plain, to_plain
from calculations.u_route import depth_for_u_value

STEP_TITLES = {
    "eaves": "eaves",
    "first_layer": "first layer",
    "cross_layers": "cross layers",
    "hatch_and_tank": "hatch and tank",
}
STEP_ORDER = {name: place for place, name in enumerate(STEP_TITLES)}


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a verdict rests on. Ids name the rows, so that new evidence is always noticed.

    loft: the surveyed loft as the engine's dictionary, or None without a finished survey.
    readings: {id, area, x_mm, y_mm, depth_mm, allowance}. photos: {id, moment, sha256}, and
    point where the rule asks for photos at points.
    stray_readings: how many belong to an earlier survey and say nothing about this one.
    work_steps: {step: {id, outcome}, or None where it was not recorded}; None where the crew kept
    no record of steps at all, as other programs may. handover: {id, all_done}. Older inputs repeat
    the crew's words too, as note and not_done_reason; from now on they stand in their rows alone,
    where an erasure can take them.
    u_value_route: {greatest_u_value_w_m2k, conductivity_w_mk} where the rule knows that route and
    the wool laid is known; None otherwise.
    """

    rule_id: int
    nation: str
    work_day: str
    requirement: dict[str, Any]
    least_before_photos: int
    least_after_photos: int
    survey_id: int | None
    loft: dict[str, Any] | None
    readings: list[dict[str, Any]]
    stray_readings: int
    photos: list[dict[str, Any]]
    unreadable_photos: int
    pre_start_check: dict[str, Any] | None
    handover: dict[str, Any] | None
    photos_at_points: bool = False
    work_steps: dict[str, dict[str, Any] | None] | None = None
    u_value_route: dict[str, float] | None = None

    def to_dict(self) -> dict[str, Plain]:
        """What is kept and hashed. What a rule does not ask, or nobody kept, leaves no trace."""
        plain = to_plain(self)
        assert isinstance(plain, dict)
        if not self.photos_at_points:
            del plain["photos_at_points"]
        for name in ("work_steps", "u_value_route"):
            if getattr(self, name) is None:
                del plain[name]
        return plain

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Evidence:
        return cls(**stored)

    @property
    def sha256(self) -> str:
        return sha256_of(self.to_dict())

    def photo_count(self, moment: str) -> int:
        return sum(1 for photo in self.photos if photo["moment"] == moment)


def sha256_of(plain: Mapping[str, Any]) -> str:
    """Of the canonical JSON: keys sorted, no blanks, UTF-8."""
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict with everything that led to it.

    depths: the engine's answer, None where it could not be asked. checks: the lines for the
    other evidence, in the engine's own form. missing: what is lacking, in sentences.
    """

    verdict: str
    engine_version: str
    depths: dict[str, Any] | None
    checks: list[dict[str, Any]]
    missing: list[str]
    suspicions: list[str]

    def to_dict(self) -> dict[str, Plain]:
        plain = to_plain(self)
        assert isinstance(plain, dict)
        return plain

    @property
    def deficit_mm(self) -> float:
        return float(self.depths["deficit_mm"]) if self.depths else 0.0

    @property
    def deficit_area_m2(self) -> float:
        return float(self.depths["deficit_area_m2"]) if self.depths else 0.0


def judge_evidence(evidence: Evidence) -> Judgement:
    """The verdict: short when the depths are; else unproven when anything is missing."""
    depths, missing = _judge_depths(evidence)
    checks = _other_checks(evidence)
    missing += [sentence for step, sentence in checks if not step.passed]
    verdict = depths.verdict if depths else "unproven"
    if verdict == "meets" and missing:
        verdict = "unproven"
    return Judgement(
        verdict=verdict,
        engine_version=ENGINE_VERSION,
        depths=depths.to_dict() if depths else None,
        checks=[_plain_step(step) for step, _ in checks],
        missing=missing,
        suspicions=list(depths.suspicions) if depths else [],
    )


def _judge_depths(evidence: Evidence) -> tuple[DepthVerdict | None, list[str]]:
    if evidence.loft is None:
        return None, ["There is no finished survey of this loft, so readings have no floor."]
    missing = []
    if evidence.stray_readings:
        missing.append(
            f"{evidence.stray_readings} readings belong to an earlier survey: measure again "
            "against the current one."
        )
    try:
        verdict = assess_depths(
            loft_from_dict(evidence.loft),
            [reading_of(row) for row in evidence.readings],
            requirement_for(evidence),
        )
    except (LoftError, DepthError) as error:
        return None, [*missing, f"The depths cannot be judged. {error}"]
    if not evidence.readings:
        return verdict, [*missing, "No depth was measured yet.", *verdict.missing]
    return verdict, [*missing, *verdict.missing]


def requirement_for(evidence: Evidence) -> DepthRequirement:
    """What the readings must show: the rule's depth, or the one its U-value asks if that is less.

    Raises LoftError or DepthError where loft or requirement cannot be.
    """
    asked = DepthRequirement(**evidence.requirement)
    depth_mm = u_route_depth(evidence)
    if depth_mm is None or depth_mm >= asked.min_depth_mm:
        return asked
    return replace(asked, min_depth_mm=depth_mm)


def u_route_depth(evidence: Evidence) -> float | None:
    """The depth that the laid wool needs for the rule's U-value [mm], where there is that route."""
    route = evidence.u_value_route
    if route is None or evidence.loft is None:
        return None
    return depth_for_u_value(
        loft_from_dict(evidence.loft),
        route["greatest_u_value_w_m2k"],
        route["conductivity_w_mk"],
    )


def reading_of(row: Mapping[str, Any]) -> Reading:
    return Reading(row["area"], row["x_mm"], row["y_mm"], row["depth_mm"], row["allowance"])


def all_but_depths(evidence: Evidence) -> bool:
    """Whether everything but the depths is there: what keeps a loft that is deep enough back."""
    stray = evidence.loft is None or evidence.stray_readings
    return not stray and all(step.passed for step, _ in _other_checks(evidence))


def _other_checks(evidence: Evidence) -> list[tuple[ArithmeticStep, str]]:
    """Each line with the sentence that is said when it does not pass."""
    before = _photo_check(evidence, "before", evidence.least_before_photos)
    after = _photo_check(evidence, "after", evidence.least_after_photos)
    at_points = list(_photo_point_checks(evidence)) if evidence.photos_at_points else []
    steps = [*_u_value_route(evidence), *_work_steps(evidence)]
    return [before, after, *at_points, _pre_start(evidence), *steps, _handover(evidence)]


def _photo_check(evidence: Evidence, moment: str, least: int) -> tuple[ArithmeticStep, str]:
    have = evidence.photo_count(moment)
    step = _step(f"Photos {moment}", f"at least {least}", have, have >= least, f"photos_{moment}")
    lacking = least - have
    sentence = f"{lacking} more photo{'s' if lacking != 1 else ''} taken {moment} the work."
    if evidence.unreadable_photos:
        sentence += f" Stored but unreadable: {evidence.unreadable_photos}."
    return step, sentence


def _photo_point_checks(evidence: Evidence) -> Iterator[tuple[ArithmeticStep, str]]:
    """A photo at each photo point of the drawing, before the work and after it."""
    if evidence.loft is None:
        return
    wanted = [point.label for point in photo_points(loft_from_dict(evidence.loft))]
    for moment in ("before", "after"):
        seen = {p.get("point") for p in evidence.photos if p["moment"] == moment}
        missing = [label for label in wanted if label not in seen]
        step = _step(
            f"Photo points seen {moment}",
            f"all {len(wanted)}",
            len(wanted) - len(missing),
            not missing,
            f"photo_points_{moment}",
        )
        yield step, f"A photo taken {moment} the work is missing at {', '.join(missing)}."


def _pre_start(evidence: Evidence) -> tuple[ArithmeticStep, str]:
    check = evidence.pre_start_check
    safe = bool(check and check["safe_to_start"])
    step = _step("Pre-start check", "done and safe to start", int(safe), safe, "pre_start_check")
    if check is None:
        return step, "The pre-start check is missing."
    return step, "The pre-start check says that it was not safe to start."


def _u_value_route(evidence: Evidence) -> Iterator[tuple[ArithmeticStep, str]]:
    """Which depth the U-value route asks of this wool. It lets a loft pass, never fail."""
    route = evidence.u_value_route
    if route is None or evidence.loft is None:
        return
    depth_mm = u_route_depth(evidence)
    said = (
        f"wool of {route['conductivity_w_mk']:g} W/mK for "
        f"{route['greatest_u_value_w_m2k']:g} W/m2K (ISO 6946)"
    )
    if depth_mm is None:
        said += ": no depth is enough"
    yield ArithmeticStep("U-value route", said, depth_mm, "mm", True, "", "u_value_route"), ""


def _work_steps(evidence: Evidence) -> Iterator[tuple[ArithmeticStep, str]]:
    """Each step of laying, as the crew said it went: done, or not needed on this loft.

    In the order of work, whatever order a stored record gives its keys.
    """
    steps = (evidence.work_steps or {}).items()
    for name, record in sorted(steps, key=lambda one: STEP_ORDER.get(one[0], len(STEP_ORDER))):
        title = STEP_TITLES.get(name, name.replace("_", " "))
        passed = record is not None and record["outcome"] in ("done", "not_needed")
        step = _step(f"Step “{title}”", "done or not needed", int(passed), passed, "work_step")
        if record is None:
            yield step, f"The step “{title}” was not recorded."
        else:
            note = record.get("note") or ""
            why = f": {note.rstrip('.')}" if note else ""
            yield step, f"The step “{title}” was left undone{why}."


def _handover(evidence: Evidence) -> tuple[ArithmeticStep, str]:
    signed = evidence.handover is not None
    step = _step("Handover", "signed by the householder", int(signed), signed, "handover")
    return step, "The handover is not signed."


def _step(label: str, expression: str, value: int, passed: bool, kind: str) -> ArithmeticStep:
    return ArithmeticStep(label, expression, value, "", passed, "", kind)


def _plain_step(step: ArithmeticStep) -> dict[str, Any]:
    plain = to_plain(step)
    assert isinstance(plain, dict)
    return plain
