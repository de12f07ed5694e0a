"""How often the roll count is proved best, and what the plain rule of thumb would have ordered.

    python -m benchmarks.cutting [--lofts 500] [--seconds 1.0]

Prints, over random lofts (see `benchmarks.random_lofts`) on one core: the share of roll types and
of lofts whose count is proved optimal within the time for a loft, the waste over the area laid, the
time (on the clock and of the processor, which differ on a busy machine), and the plain rule
"area x 1.1 / roll area" beside it: how often it runs short of the least possible, and
how much it over-orders.
"""

from __future__ import annotations

import argparse
import math
import statistics
import time

from benchmarks.random_lofts import random_loft
from calculations.catalogue import INVENTED_CATALOGUE, RollType, roll_by_code
from calculations.choosing import cutting_plans
from calculations.cutting import CuttingPlan
from calculations.layers import LayerChoice, choose_layers
from calculations.loft import Loft, net_polygon
from calculations.stacks import Target

TARGETS = (Target(depth_mm=270), Target(depth_mm=300), Target(u_value_w_m2k=0.16))


def plain_rule(loft: Loft, choice: LayerChoice, roll: RollType) -> int:
    """Rolls by "area x 1.1 / roll area", each layer over the whole net area, starters left out."""
    area_m2 = sum(
        net_polygon(loft, loft.area_named(layer.area)).area / 1e6
        for layer in choice.layers
        if layer.roll == roll.code and layer.covers != "eaves"
    )
    return math.ceil(area_m2 * 1.1 / roll.area_m2 - 1e-9)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lofts", type=int, default=500)
    parser.add_argument("--seconds", type=float, default=1.0)
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    plans: list[CuttingPlan] = []
    seconds: list[float] = []
    processor: list[float] = []
    rules: list[tuple[int, CuttingPlan]] = []
    short_lofts = 0
    proved_lofts = in_time = 0
    for seed in range(options.lofts):
        loft = random_loft(seed)
        begin, begin_cpu = time.perf_counter(), time.process_time()
        choice = choose_layers(loft, TARGETS[seed % len(TARGETS)], INVENTED_CATALOGUE)
        left = max(0.0, options.seconds - (time.perf_counter() - begin))
        found = cutting_plans(loft, choice.layers, INVENTED_CATALOGUE, left)
        seconds.append(time.perf_counter() - begin)
        processor.append(time.process_time() - begin_cpu)
        proved = all(plan.proved_optimal for plan in found)
        proved_lofts += proved
        in_time += proved and processor[-1] <= options.seconds
        short = False
        for plan in found:
            if options.verbose and not plan.proved_optimal:
                print("open:", seed, plan.roll, plan.rolls, plan.lower_bound)
            rule = plain_rule(loft, choice, roll_by_code(INVENTED_CATALOGUE, plan.roll))
            if rule:
                rules.append((rule, plan))
                short |= rule < plan.lower_bound
        short_lofts += short
        plans += found
    report(options.lofts, plans, rules, proved_lofts, seconds)
    print(f"processor seconds for a loft: mean {statistics.mean(processor):.3f}", end=", ")
    print(f"worst {max(processor):.3f}; proved", end=" ")
    print(f"within {options.seconds:g} of them: {in_time / options.lofts:.1%} of lofts")
    print(f"the rule leaves {short_lofts / options.lofts:.1%} of lofts short of some roll")


def report(
    lofts: int,
    plans: list[CuttingPlan],
    rules: list[tuple[int, CuttingPlan]],
    proved_lofts: int,
    seconds: list[float],
) -> None:
    """Print the figures."""
    proved = sum(plan.proved_optimal for plan in plans)
    still_open = [plan.rolls - plan.lower_bound for plan in plans if not plan.proved_optimal]
    ordered = bound = cut_m2 = 0.0
    for plan in plans:
        roll = roll_by_code(INVENTED_CATALOGUE, plan.roll)
        cut = sum(c.width_mm * c.length_mm for c in plan.packing.cuts) / 1e6
        cut_m2 += cut
        ordered += plan.rolls * roll.area_m2
        bound += math.ceil(cut / roll.area_m2 - 1e-9) * roll.area_m2
    print(f"lofts {lofts}, roll types {len(plans)}")
    print(f"proved optimal: {proved_lofts / lofts:.1%} of lofts", end=", ")
    print(
        f"{proved / len(plans):.1%} of roll types; gap where open {max(still_open or [0])} at most"
    )
    print(f"wool ordered over the area bound {ordered / bound - 1:.2%}", end=", ")
    print(f"over the area cut {ordered / cut_m2 - 1:.2%} (the begun roll included)")
    by_time = sorted(seconds)
    print(f"seconds for a loft: median {statistics.median(seconds):.3f}", end=", ")
    print(f"95 % {by_time[int(0.95 * len(by_time))]:.3f}, worst {by_time[-1]:.3f}")
    short = [plan.lower_bound - rule for rule, plan in rules if rule < plan.lower_bound]
    over = [rule - plan.rolls for rule, plan in rules if rule > plan.rolls]
    total_rule, total_plan = sum(r for r, _ in rules), sum(p.rolls for _, p in rules)
    print(f'plain rule "area x 1.1": short in {len(short) / len(rules):.1%} of roll types', end=" ")
    print(f"(by {statistics.mean(short or [0]):.2f} rolls)", end=", ")
    print(f"over in {len(over) / len(rules):.1%} (by {statistics.mean(over or [0]):.2f} rolls)")
    print(f"in all {total_rule} rolls by the rule, {total_plan} by the plan", end=": ")
    print(f"{total_rule / total_plan - 1:+.1%}")


if __name__ == "__main__":
    main()
