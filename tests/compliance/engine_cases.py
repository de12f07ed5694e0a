"""What an engine answers to random evidence, frozen for good when its version ships.

    python -m tests.compliance.engine_cases

writes `engines/VERSION.json` for the present engine: a line a case, with its inputs, its verdict
and the SHA-256 of its whole answer. A file that is there is never written again. Figures are
compared to nine digits, since the last ones belong to the processor and the numeric libraries.
"""

from __future__ import annotations

import hashlib
import json
import random
import sys
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks.random_lofts import random_loft
from calculations import ENGINE_VERSION
from calculations.depths import DepthRequirement, where_to_measure
from calculations.drawing.photo_points import photo_points
from calculations.loft import Loft
from calculations.loft_json import loft_to_dict
from calculations.records import to_plain
from compliance.engines import Engine, engine_of

FOLDER = Path(__file__).parent / "engines"
CASES = 40


def evidence(seed: int) -> dict[str, Any]:
    """The inputs of an assessment as one stores them; every kind of lack comes up among many."""
    rng = random.Random(f"evidence {seed}")
    loft = random_loft(seed % 17)
    asked = DepthRequirement(min_depth_mm=rng.choice((200.0, 270.0, 270.0, 350.0)))
    at_points = rng.random() < 0.3
    inputs: dict[str, Any] = {
        "rule_id": 1,
        "nation": "england",
        "work_day": rng.choice(("2026-11-25", "")),
        "requirement": asdict(asked),
        "least_before_photos": 2,
        "least_after_photos": 2,
        "survey_id": 1,
        "loft": to_plain(loft_to_dict(loft)),
        "readings": _readings(rng, loft, asked),
        "stray_readings": rng.choice((*9 * [0], 2)),
        "photos": _photos(rng, loft, at_points),
        "unreadable_photos": rng.choice((0, 0, 0, 1)),
        "pre_start_check": rng.choice(
            (None, {"id": 1, "safe_to_start": False}, *12 * [{"id": 1, "safe_to_start": True}])
        ),
        "handover": rng.choice((None, *9 * [{"id": 1, "all_done": True, "not_done_reason": ""}])),
    }
    if at_points:
        inputs["photos_at_points"] = True
    if rng.random() < 0.4:
        inputs["work_steps"] = _steps(rng)
    if rng.random() < 0.4:
        inputs["u_value_route"] = {
            "greatest_u_value_w_m2k": rng.choice((0.16, 0.13)),
            "conductivity_w_mk": rng.choice((0.032, 0.04, 0.044)),
        }
    if rng.random() < 0.04:
        inputs["loft"] = inputs["survey_id"] = None
    return inputs


def _readings(rng: random.Random, loft: Loft, asked: DepthRequirement) -> list[dict[str, Any]]:
    points = where_to_measure(loft, (), asked)
    mean = asked.min_depth_mm + rng.choice((40, 40, 30, 20, -20, -100))
    spread, patch = rng.choice((4, 6, 25)), rng.random() < 0.2
    kept = points[: rng.choice((0, 2, *12 * [len(points)]))]
    return [
        {
            "id": n,
            "area": point.area,
            "x_mm": point.x_mm,
            "y_mm": point.y_mm,
            "depth_mm": float(round(max(0, rng.gauss(mean - 150 * (patch and n < 3), spread)))),
            "allowance": "eaves" if rng.random() < 0.04 else "",
        }
        for n, point in enumerate(kept)
    ]


def _photos(rng: random.Random, loft: Loft, at_points: bool) -> list[dict[str, Any]]:
    labels = [point.label for point in photo_points(loft)] if at_points else ["P1", "P2"]
    if rng.random() < 0.15:
        labels = labels[:-1]
    photos = [
        {"id": n, "moment": moment, "sha256": "0" * 64, "point": label}
        for n, (moment, label) in enumerate((m, one) for m in ("before", "after") for one in labels)
    ]
    if not at_points:
        for photo in photos:
            del photo["point"]
    return photos


def _steps(rng: random.Random) -> dict[str, Any]:
    outcomes = (*12 * ["done"], "not_needed", "not_done")
    return {
        step: None
        if rng.random() < 0.03
        else {"id": n, "outcome": rng.choice(outcomes), "note": rng.choice(("", "No room."))}
        for n, step in enumerate(("eaves", "first_layer", "cross_layers", "hatch_and_tank"))
    }


def answer_sha256(answer: Mapping[str, Any]) -> str:
    text = json.dumps(_to_nine_digits(answer), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _to_nine_digits(value: Any) -> Any:
    if isinstance(value, float):
        return f"{value + 0.0:.9g}"
    if isinstance(value, Mapping):
        return {key: _to_nine_digits(one) for key, one in value.items()}
    return [_to_nine_digits(one) for one in value] if isinstance(value, list) else value


def frozen_versions() -> list[str]:
    """Every version that ever shipped."""
    return sorted(path.stem for path in FOLDER.glob("*.json"))


def frozen(version: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (FOLDER / f"{version}.json").read_text().splitlines()]


def answers_changed(version: str, engine: Engine) -> list[int]:
    """Of the cases frozen for a version those that this engine answers otherwise."""
    return [
        number
        for number, case in enumerate(frozen(version))
        if answer_sha256(engine(case["inputs"])) != case["answer_sha256"]
    ]


def cases() -> Iterator[dict[str, Any]]:
    engine = engine_of(ENGINE_VERSION)
    assert engine is not None
    for seed in range(CASES):
        inputs = evidence(seed)
        answer = engine(inputs)
        yield {
            "inputs": inputs,
            "verdict": answer["verdict"],
            "answer_sha256": answer_sha256(answer),
        }


if __name__ == "__main__":
    file = FOLDER / f"{ENGINE_VERSION}.json"
    if file.exists():
        sys.exit(f"{file.name} is there: raise ENGINE_VERSION, and keep the engine before.")
    lines = [json.dumps(case, sort_keys=True, separators=(",", ":")) for case in cases()]
    file.write_text("".join(f"{line}\n" for line in lines))
