"""`python -m calculations loft.json`: the quantities of a loft, for a person or as JSON.

`python -m calculations --example > loft.json` gives an invented loft to begin with. `--cut-list`
adds the strips in the order of laying, `--drawings FOLDER` writes the survey and each layer as SVG.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from calculations.cables import check_cables
from calculations.checks import InputError
from calculations.climate import CLIMATE_REGIONS
from calculations.drawing import draw_layer, draw_loft
from calculations.example import EXAMPLE
from calculations.heat import ceiling_area_m2
from calculations.loft import Loft, LoftError, loft_from_dict
from calculations.moisture import check_moisture
from calculations.quantities import Quantities, quantify
from calculations.savings import yearly_saving
from calculations.stacks import Target
from calculations.strip_notes import note_lines


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code: 0 fine, 2 for a loft that cannot be."""
    options = _parser().parse_args(arguments)
    try:
        return _run(options)
    except BrokenPipeError:
        # The reader, such as `head`, has had enough; nothing more may be flushed to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _run(options: argparse.Namespace) -> int:
    if options.example:
        print(json.dumps(EXAMPLE.to_dict(), indent=2), flush=True)
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
        physics = physics_lines(loft, found, options.region, options.price)
        if options.drawings is not None:
            write_drawings(loft, found, options.drawings)
    except json.JSONDecodeError as error:
        print(f"Cannot quantify: {options.loft} is not JSON: {error}.", file=sys.stderr)
        return 2
    except (LoftError, InputError, OSError) as error:
        print(f"Cannot quantify: {error}", file=sys.stderr)
        return 2
    if options.json:
        print(json.dumps(found.to_dict(), indent=2), flush=True)
    else:
        cuts = cut_list_lines(found) if options.cut_list else []
        print("\n".join([as_text(found), *physics, *cuts]), flush=True)
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
    parser.add_argument(
        "--seconds", type=float, default=1.0, help="for proving the counts (default 1)"
    )
    parser.add_argument(
        "--region", choices=[r.key for r in CLIMATE_REGIONS], default="uk_average", help="climate"
    )
    parser.add_argument(
        "--price",
        nargs=2,
        type=float,
        metavar=("LOW", "HIGH"),
        help="of mains gas, GBP/kWh: gives the saving in money",
    )
    parser.add_argument(
        "--cut-list", action="store_true", help="print every strip, in laying order"
    )
    parser.add_argument("--drawings", type=Path, metavar="FOLDER", help="write drawings there")
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    return parser


def as_text(found: Quantities) -> str:
    """Quantities as lines for a person."""
    lines = [f"Net area {found.net_area_m2:.1f} m2, target {found.target}"]
    lines.append(f"U-value {found.u_before:.2f} before, {found.u_after:.2f} after (mean, W/m2K)")
    for roll in found.rolls:
        proof = "proved best" if roll.proved_optimal else f"at least {roll.lower_bound} needed"
        lines.append(f"{roll.count:3d} x {roll.name} ({proof}); {roll.waste_m2:.1f} m2 left over")
    for place in found.area_waste:
        lines.append(
            f"{place.area}: {place.laid_m2:.1f} m2 of wool laid, {place.cut_m2:.1f} m2 cut for it, "
            f"{place.waste_m2:.1f} m2 of that trimmed off"
        )
    for line in found.accessories:
        caution = f" Caution: {line.caution}" if line.caution else ""
        lines.append(f"{line.quantity:g} {line.unit} {line.name}: {line.reason}.{caution}")
    lines.append(f"{len(found.strips)} strips to cut; {found.labour.crew_hours:.1f} crew-hours")
    lines += [f"Why: {line}" for line in found.explanation]
    lines += [f"Mind: {line}" for line in found.warnings]
    return "\n".join(lines)


def cut_list_lines(found: Quantities) -> list[str]:
    """The cut list in the order of laying, a line a strip, then what to mind at the eaves."""
    lines = [
        f"{s.number:3d}  {s.area}, layer {s.layer}, {s.zone}, bay {s.bay}: {s.length_mm:.0f} x "
        f"{s.width_mm:.0f} mm{' sawn' if s.sawn else ''} of {s.roll} no. {s.from_roll}"
        for s in found.strips
    ]
    return lines + note_lines(found.strips)


def write_drawings(loft: Loft, found: Quantities, folder: Path) -> None:
    """The survey and each layer as SVG files in `folder`, which is made when it is not there."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "survey.svg").write_text(draw_loft(loft), "utf-8")
    for number in sorted({layer.number for layer in found.layers}):
        (folder / f"layer-{number}.svg").write_text(draw_layer(loft, found, number), "utf-8")


def physics_lines(
    loft: Loft, found: Quantities, region: str, price: Sequence[float] | None = None
) -> list[str]:
    """What is saved, and what heat, damp and cables ask for, as lines for a person."""
    area_m2 = ceiling_area_m2(loft)
    prices = None if price is None else (price[0], price[1])
    saving = yearly_saving(found.u_before, found.u_after, area_m2, region, price_per_kwh=prices)
    lines = [
        f"Saves {saving.kwh_low:.0f} to {saving.kwh_high:.0f} kWh of gas a year, "
        f"{saving.kg_co2e_low:.0f} to {saving.kg_co2e_high:.0f} kg CO2e"
    ]
    if saving.money_low is not None and saving.money_high is not None:
        lines[0] += f", {saving.money_low:.0f} to {saving.money_high:.0f} {saving.currency}"
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
