"""Repeat a draw, a plan or limits from the command line.

python -m calculations.sampling draw --nonce HEX --seal HEX --round ID --size N --population FILE
    [--commitment HEX] [--allocation proportional|risk] [--widenings N]
python -m calculations.sampling plan --lot 320 --aql 2.5
python -m calculations.sampling confidence --lot 320 --sure 0.95 --share 0.05
python -m calculations.sampling limits --defects 2 --sample 50 --lot 320
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections.abc import Sequence
from pathlib import Path

from calculations.sampling.draws import draw_seed, keeps_commitment
from calculations.sampling.errors import SamplingError
from calculations.sampling.limits import defect_rate_limits
from calculations.sampling.plans import confidence_sample_size, inspection_plan
from calculations.sampling.population import draw_from, read_population, strata_of


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one subcommand; 0 when all is well, 1 for a broken commitment, 2 for bad input."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except (SamplingError, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 2


def _draw(options: argparse.Namespace) -> int:
    nonce, root = bytes.fromhex(options.nonce), bytes.fromhex(options.seal)
    if options.commitment:
        if not keeps_commitment(bytes.fromhex(options.commitment), nonce):
            print(
                "commitment: the nonce is not the one committed to. Do not trust this draw.",
                file=sys.stderr,
            )
            return 1
        print("# the nonce is the one committed to", file=sys.stderr)
    named = options.population
    content = sys.stdin.buffer.read() if named == "-" else Path(named).read_bytes()
    lines = read_population(content.decode())
    seed = draw_seed(nonce, root, options.round)
    strata = strata_of(lines, options.size, options.allocation)
    print(
        f"# population {len(lines)}, its SHA-256 {hashlib.sha256(content).hexdigest()}\n"
        f"# seed {seed.hex()}",
        file=sys.stderr,
    )
    for s in strata if strata[0].name else ():
        print(f"# {s.name}: {s.sample} of {s.population}, risk {s.risk:.2f}", file=sys.stderr)
    for job in draw_from(seed, lines, strata, options.widenings):
        print(f"{job.name}\t{job.stratum}\t{job.weight:.4f}" if job.stratum else job.name)
    return 0


def _plan(options: argparse.Namespace) -> int:
    plan = inspection_plan(options.lot, options.aql, options.level, options.severity)
    print(
        f"code letter {plan.code_letter}: inspect {plan.sample_size} of {plan.lot_size}"
        f"{' (all)' if plan.inspect_all else ''}; accept on {plan.accept} or fewer defective, "
        f"do not accept on {plan.reject} or more"
    )
    return 0


def _confidence(options: argparse.Namespace) -> int:
    size = confidence_sample_size(options.lot, options.sure, options.share)
    print(
        f"inspect {size} of {options.lot}: if none is defective, one is {options.sure:.2%} "
        f"sure that no more than {options.share:.2%} are"
    )
    return 0


def _limits(options: argparse.Namespace) -> int:
    found = defect_rate_limits(options.defects, options.sample, options.lot, options.sure)
    print(
        f"{found.estimate:.3%} defective in the sample; between {found.low:.3%} and "
        f"{found.high:.3%} with {options.sure:.1%} confidence ({found.method})"
    )
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m calculations.sampling",
        description=__doc__.splitlines()[0] if __doc__ else "",
    )
    commands = parser.add_subparsers(required=True)

    one = commands.add_parser("draw", help="repeat a draw")
    one.add_argument("--nonce", required=True, help="the auditor's nonce, in hex")
    one.add_argument("--seal", required=True, help="root of the Seal over the population, in hex")
    one.add_argument("--round", required=True, help="identifier of the audit round")
    one.add_argument("--size", required=True, type=int)
    one.add_argument("--commitment", help="what the auditor committed to, in hex; checked if given")
    one.add_argument(
        "--population",
        required=True,
        help="the population's file, or - for standard input: a job a line, or job, stratum and "
        "risk with tabs between",
    )
    one.add_argument("--allocation", default="proportional", choices=("proportional", "risk"))
    one.add_argument("--widenings", default=0, type=int, help="as many again, so many times")
    one.set_defaults(run=_draw)

    two = commands.add_parser("plan", help="single sampling plan of ISO 2859-1")
    two.add_argument("--lot", required=True, type=int)
    two.add_argument("--aql", required=True, type=float, help="percent nonconforming")
    two.add_argument("--level", default="II", choices=("I", "II", "III"))
    two.add_argument("--severity", default="normal", choices=("normal", "tightened", "reduced"))
    two.set_defaults(run=_plan)

    three = commands.add_parser("confidence", help="sample that makes sure if none is defective")
    three.add_argument("--lot", required=True, type=int)
    three.add_argument("--sure", default=0.95, type=float)
    three.add_argument("--share", required=True, type=float)
    three.set_defaults(run=_confidence)

    four = commands.add_parser("limits", help="exact limits for the share defective")
    four.add_argument("--defects", required=True, type=int)
    four.add_argument("--sample", required=True, type=int)
    four.add_argument("--lot", type=int, help="size of the population; endless if not given")
    four.add_argument("--sure", default=0.95, type=float)
    four.set_defaults(run=_limits)
    return parser


if __name__ == "__main__":
    sys.exit(main())
