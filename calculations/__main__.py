"""`python -m calculations loft.json`: the quantities of a loft, for a person or as JSON.

`python -m calculations --example > loft.json` gives an invented loft to begin with.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from calculations.cables import check_cables
from calculations.checks import InputError
from calculations.climate import CLIMATE_REGIONS
from calculations.heat import ceiling_area_m2
from calculations.loft import (
    Loft,
    LoftArea,
    LoftError,
    Obstacle,
    ObstacleKind,
    Roof,
    loft_from_dict,
)
from calculations.moisture import check_moisture
from calculations.quantities import Quantities, quantify
from calculations.savings import yearly_saving
from calculations.stacks import Target

EXAMPLE = Loft(
    areas=(
        LoftArea(
            "Main",
            ((0, 0), (6400, 0), (6400, 7200), (0, 7200)),
            joist_spacing_mm=400,
            joist_depth_mm=100,
            joist_width_mm=47,
            joist_direction_deg=90,
            existing_depth_mm=50,
            eaves_edges=(0, 2),
        ),
    ),
    obstacles=(
        Obstacle(
            "Hatch", ObstacleKind.HATCH, ((5000, 3000), (5600, 3000), (5600, 3750), (5000, 3750))
        ),
        Obstacle(
            "Tank", ObstacleKind.TANK, ((1200, 2400), (2300, 2400), (2300, 3100), (1200, 3100))
        ),
    ),
    roof=Roof(pitch_deg=30, rafter_depth_mm=100, span_m=7.2),
)
"""An invented loft, to show what a loft file looks like."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code: 0 fine, 2 for a loft that cannot be."""
    options = _parser().parse_args(arguments)
    if options.example:
        print(json.dumps(EXAMPLE.to_dict(), indent=2))
        return 0
    if options.loft is None:
        print("Cannot quantify: name a loft file, or ask for --example.", file=sys.stderr)
        return 2
    depth = options.depth_mm if options.u_value is None else None
    try:
        text = sys.stdin.read() if options.loft == "-" else Path(options.loft).read_text("utf-8")
        loft = loft_from_dict(json.loads(text))
        target = Target(depth_mm=depth, u_value_w_m2k=options.u_value)
        found = quantify(loft, target, objective=options.objective, seconds=options.seconds)
    except (LoftError, InputError, OSError, json.JSONDecodeError) as error:
        print(f"Cannot quantify: {error}", file=sys.stderr)
        return 2
    if options.json:
        print(json.dumps(found.to_dict(), indent=2))
    else:
        print("\n".join([as_text(found), *physics_lines(loft, found, options.region)]))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m calculations",
        description="The quantities of a loft, for a person or as JSON.",
    )
    parser.add_argument(
        "loft", nargs="?", help="a loft as JSON (positions in millimetres); - reads stdin"
    )
    parser.add_argument("--example", action="store_true", help="print an invented loft as JSON")
    aim = parser.add_mutually_exclusive_group()
    aim.add_argument("--depth-mm", type=float, default=270.0, help="depth to reach (default 270)")
    aim.add_argument("--u-value", type=float, help="U-value to reach on the open floor [W/m2K]")
    parser.add_argument("--objective", choices=("cost", "rolls"), default="cost")
    parser.add_argument("--seconds", type=float, default=1.0, help="for each roll type's proof")
    parser.add_argument(
        "--region", choices=[r.key for r in CLIMATE_REGIONS], default="uk_average", help="climate"
    )
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    return parser


def as_text(found: Quantities) -> str:
    """Quantities as lines for a person."""
    lines = [f"Net area {found.net_area_m2:.1f} m2, target {found.target}"]
    lines.append(f"U-value {found.u_before:.2f} before, {found.u_after:.2f} after (mean, W/m2K)")
    for roll in found.rolls:
        proof = "proved best" if roll.proved_optimal else f"at least {roll.lower_bound} needed"
        lines.append(f"{roll.count:3d} x {roll.name} ({proof}); {roll.waste_m2:.1f} m2 left over")
    for line in found.accessories:
        lines.append(f"{line.quantity:g} {line.unit} {line.name}: {line.reason}")
    lines.append(f"{len(found.strips)} strips to cut; {found.labour.crew_hours:.1f} crew-hours")
    lines += [f"Why: {line}" for line in found.explanation]
    lines += [f"Mind: {line}" for line in found.warnings]
    return "\n".join(lines)


def physics_lines(loft: Loft, found: Quantities, region: str) -> list[str]:
    """What is saved, and what heat, damp and cables ask for, as lines for a person."""
    area_m2 = ceiling_area_m2(loft)
    saving = yearly_saving(found.u_before, found.u_after, area_m2, region)
    lines = [f"Saves {saving.kwh_low:.0f} to {saving.kwh_high:.0f} kWh of gas a year"]
    lines += [f"Assumed: {line}" for line in saving.assumptions]
    for note in check_moisture(loft, found.layers, region=region):
        word = "Damp warning" if note.severity == "warning" else "Damp"
        lines.append(f"{word}, {note.where}: {note.text}")
    over_mm = max((layer.top_mm for layer in found.layers), default=0.0)
    for cable in check_cables(loft, over_mm):
        lines.append(f"Cable, {cable.name}: {cable.text}")
    return lines


if __name__ == "__main__":
    sys.exit(main())
