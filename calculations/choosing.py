"""Which of the best-priced layer choices takes least when whole rolls are counted.

The price of a square metre cannot see that a roll is begun for a strip or two. The best few ways
are therefore cut, each by the quick plan, and the one that takes least is kept.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from calculations.catalogue import RollType, roll_by_code
from calculations.cutting import CuttingPlan, plan_cuts
from calculations.layers import Layer, LayerChoice, Objective, picked_layers, rank_areas
from calculations.loft import Loft
from calculations.stacks import RankedStacks, Target
from calculations.strips import Piece, pieces_of

WAYS_COUNTED = 4
"""So many ways are counted in whole rolls; half as many where no time is given."""
WORTH_COUNTING = 1.10
"""A way whose price exceeds the best by more is not; whole rolls rarely turn that round."""


@dataclass(frozen=True, slots=True)
class CountedChoice:
    """A layer choice with its cutting plans. total: cost, or number of rolls, as asked."""

    choice: LayerChoice
    plans: tuple[CuttingPlan, ...]
    total: float


def best_counted(
    loft: Loft,
    target: Target,
    catalogue: Sequence[RollType],
    objective: Objective,
    seconds: float,
) -> CountedChoice:
    """The choice that takes least in whole rolls, then its cutting plans, proved within `seconds`.

    seconds: for the whole loft, the counting of the ways included; see `cutting_plans`.
    Raises LoftError for a bad catalogue.
    """
    ends = time.perf_counter() + seconds
    ranked = rank_areas(loft, target, catalogue, objective)
    counted: list[CountedChoice] = []
    for picks in _ways(ranked, WAYS_COUNTED if seconds > 0 else WAYS_COUNTED // 2):
        choice = picked_layers(loft, target, catalogue, objective, ranked, picks)
        plans = cutting_plans(loft, choice.layers, catalogue, 0.0, rough=True)
        counted.append(CountedChoice(choice, plans, _total(plans, catalogue, objective)))
    best = min(counted, key=lambda c: c.total)
    if not all(plan.proved_optimal and not plan.joints for plan in best.plans):
        left = max(0.0, ends - time.perf_counter()) if seconds > 0 else 0.0
        plans = cutting_plans(loft, best.choice.layers, catalogue, left)
        best = replace(best, plans=plans, total=_total(plans, catalogue, objective))
    return replace(best, choice=_explained(best, counted, objective))


def _ways(ranked: Mapping[str, RankedStacks], most_ways: int) -> Iterator[dict[str, int]]:
    """Places in the rankings to count: the cheapest by summed price, the best first."""
    names = list(ranked)
    near: list[list[int]] = []
    for name in names:
        stacks = ranked[name].stacks[:WAYS_COUNTED]
        most = stacks[0].price * WORTH_COUNTING
        near.append([i for i, stack in enumerate(stacks) if stack.price <= most])

    def price(picks: tuple[int, ...]) -> float:
        return sum(ranked[n].stacks[i].price for n, i in zip(names, picks, strict=True))

    for picks in sorted(itertools.product(*near), key=price)[:most_ways]:
        yield dict(zip(names, picks, strict=True))


def _total(
    plans: Sequence[CuttingPlan], catalogue: Sequence[RollType], objective: Objective
) -> float:
    return sum(
        plan.rolls * (roll_by_code(catalogue, plan.roll).cost if objective == "cost" else 1.0)
        for plan in plans
    )


def cutting_plans(
    loft: Loft,
    layers: Sequence[Layer],
    catalogue: Sequence[RollType],
    seconds: float,
    *,
    rough: bool = False,
) -> tuple[CuttingPlan, ...]:
    """A cutting plan for each roll type used, in the catalogue's order.

    seconds: for the proofs of the whole loft. Each type still to be planned has an equal share of
    what is left, so that what is proved at once leaves its time to the others. The quick plan and
    its bound are made whatever time is left; 0 keeps to them.
    """
    ends = time.perf_counter() + seconds
    by_roll: dict[str, list[Piece]] = {}
    for layer in layers:
        roll = roll_by_code(catalogue, layer.roll)
        area = loft.area_named(layer.area)
        by_roll.setdefault(layer.roll, []).extend(pieces_of(loft, area, layer, roll, layers))
    used = [roll for roll in catalogue if by_roll.get(roll.code)]
    plans: list[CuttingPlan] = []
    for number, roll in enumerate(used):
        left = max(0.0, ends - time.perf_counter()) if seconds > 0 else 0.0
        share = left / (len(used) - number)
        plans.append(plan_cuts(by_roll[roll.code], roll, share, rough=rough))
    return tuple(plans)


def _explained(
    best: CountedChoice, counted: Sequence[CountedChoice], objective: Objective
) -> LayerChoice:
    lines = list(best.choice.explanation)
    others = [c.total for c in counted if c.choice.layers != best.choice.layers]
    if best.plans and others:
        unit = "cost" if objective == "cost" else "rolls"
        lines.append(
            f"Counted in whole rolls this takes {best.total:g} ({unit}); the next of "
            f"{len(counted)} ways counted takes {min(others):g}."
        )
    lines += [_why_count(plan) for plan in best.plans]
    return replace(best.choice, explanation=tuple(lines))


def _why_count(plan: CuttingPlan) -> str:
    if plan.proved_optimal:
        proof = "no way of cutting these pieces takes fewer"
    else:
        proof = f"at least {plan.lower_bound} are needed, and whether fewer will do is not settled"
    joints = f"; {plan.joints} butt joints" if plan.joints else ""
    return f"{plan.roll}: {plan.rolls} rolls; {proof}{joints}."
