"""A plan as JSON in a run's row, and back: where each visit lies, by keys and seconds.

Why something is unplanned is not kept: it is worked out for the plan that is proposed.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from jobs.planning.plan import Plan, Round, Stop, Unplanned


def plan_to_json(plan: Plan) -> dict[str, Any]:
    """Plain lists and numbers; `plan_from_json` gives an equal plan, but for its reasons."""
    return {
        "rounds": [asdict(round_) for round_ in plan.rounds],
        "unplanned": [left.key for left in plan.unplanned],
    }


def plan_from_json(kept: dict[str, Any]) -> Plan:
    """The plan that `plan_to_json` kept."""
    return Plan(
        tuple(_round(each) for each in kept["rounds"]),
        tuple(Unplanned(key) for key in kept["unplanned"]),
    )


def _round(kept: dict[str, Any]) -> Round:
    return Round(**{**kept, "stops": tuple(_stop(stop) for stop in kept["stops"])})


def _stop(kept: dict[str, Any]) -> Stop:
    return Stop(**{**kept, "rests": tuple((begin, end) for begin, end in kept["rests"])})
