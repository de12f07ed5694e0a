"""The sealed population as a file, how a sample is shared over its strata, and the draw from it.

The file is what the Seal's entry hashes, so whoever has it can repeat everything: one job a
line, in the order of the bytes of their names; where the draw is stratified the stratum and the
job's risk follow, with tabs between. Nothing else is needed but the nonce, the Seal's root, the
round's identifier and the plan.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from calculations.sampling.draws import draw, draw_stratified
from calculations.sampling.errors import SamplingError
from calculations.sampling.estimates import allocate

Allocation = Literal["proportional", "risk"]


@dataclass(frozen=True, slots=True)
class PopulationLine:
    """One job: its name, its stratum ("" where the draw is not stratified) and its risk.

    risk: above 0, 1 where nothing stands out; in whole hundredths, as the file writes it.
    """

    name: str
    stratum: str = ""
    risk: float = 1.0

    def __str__(self) -> str:
        return f"{self.name}\t{self.stratum}\t{self.risk:.2f}" if self.stratum else self.name


@dataclass(frozen=True, slots=True)
class Stratum:
    """A stratum of a population: how many jobs, the sum of their risk, how many are drawn."""

    name: str
    population: int
    risk: float
    sample: int

    @property
    def weight(self) -> float:
        """Jobs of the population that each drawn one stands for: one over its chance."""
        return self.population / self.sample


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn job. weight: one over its chance to be drawn. widening: 0 for the first sample."""

    name: str
    stratum: str
    weight: float
    widening: int = 0


def population_text(lines: Iterable[PopulationLine]) -> str:
    """The population's file, as it is hashed.

    Raises SamplingError for a name or stratum with a tab or a line break in it.
    """
    ordered = sorted(lines, key=lambda line: line.name.encode())
    for line in ordered:
        for text in (line.name, line.stratum):
            if any(mark in text for mark in "\t\r\n"):
                raise SamplingError("population", f"has a break in {text!r}.", "Take it out.")
    return "".join(f"{line}\n" for line in ordered)


def read_population(text: str) -> tuple[PopulationLine, ...]:
    """The jobs of a population's file. Raises SamplingError naming the line that is wrong."""
    lines = []
    for number, row in enumerate(text.split("\n"), start=1):
        if not row.strip():
            continue
        parts = row.rstrip("\r").split("\t")
        try:
            if len(parts) not in (1, 3):
                raise ValueError
            name, stratum, risk = parts if len(parts) == 3 else (parts[0], "", "1")
            line = PopulationLine(name.strip(), stratum, float(risk))
        except ValueError:
            raise SamplingError(
                f"population[{number}]", f"is {row!r}.", "Give a job, or job, stratum and risk."
            ) from None
        lines.append(line)
    if len({bool(line.stratum) for line in lines}) > 1:
        raise SamplingError(
            "population", "has a stratum for some jobs only.", "Give one for every job, or none."
        )
    return tuple(lines)


def strata_of(
    lines: Sequence[PopulationLine], size: int, allocation: Allocation = "proportional"
) -> tuple[Stratum, ...]:
    """How many of `size` each stratum gives, strata in the order of their names' bytes.

    By number of jobs, or by the sum of the jobs' risk; two of each stratum at least where the
    size allows it (one job alone says nothing about how much jobs differ), else one. Raises
    SamplingError when there are more strata than `size`.
    """
    return share_out(totals_of(lines), size, allocation)


def totals_of(lines: Iterable[PopulationLine]) -> dict[str, tuple[int, float]]:
    """By stratum, in the order of the names' bytes: its jobs, and the sum of their risk."""
    jobs: dict[str, list[float]] = defaultdict(list)
    for line in lines:
        jobs[line.stratum].append(line.risk)
    return {name: (len(jobs[name]), math.fsum(jobs[name])) for name in sorted(jobs, key=str.encode)}


def share_out(
    totals: Mapping[str, tuple[int, float]], size: int, allocation: Allocation
) -> tuple[Stratum, ...]:
    """`strata_of` from the strata's totals."""
    populations = {name: jobs for name, (jobs, _) in totals.items()}
    means = {name: risk / jobs for name, (jobs, risk) in totals.items()}
    pairs = sum(min(2, jobs) for jobs in populations.values())
    shares = allocate(
        populations,
        size,
        means if allocation == "risk" else None,
        at_least=2 if size >= pairs else 1,
    )
    return tuple(Stratum(name, *totals[name], shares[name]) for name in totals)


def widened(strata: Sequence[Stratum], times: int = 1) -> tuple[Stratum, ...]:
    """The strata after drawing as many again `times` times, as far as they have jobs."""
    return tuple(
        Stratum(s.name, s.population, s.risk, min(s.population, s.sample * (1 + times)))
        for s in strata
    )


def draw_from(
    seed: bytes,
    lines: Sequence[PopulationLine],
    strata: Sequence[Stratum],
    widenings: int = 0,
) -> tuple[Drawn, ...]:
    """The sample in its order: the first sample, then each widening, stratum by stratum.

    A widening goes on in each stratum's own sequence where it ended, so it needs no new seed
    and draws no job twice. weight: by the sample up to and with the job's own widening.
    """
    jobs: dict[str, list[str]] = defaultdict(list)
    for line in lines:
        jobs[line.stratum].append(line.name)
    stages = [tuple(strata), *(widened(strata, k) for k in range(1, widenings + 1))]
    sequences = _sequences(seed, jobs, {s.name: s.sample for s in stages[-1]})
    drawn: list[Drawn] = []
    before = dict.fromkeys(sequences, 0)
    for number, stage in enumerate(stages):
        for s in stage:
            drawn += (
                Drawn(name, s.name, s.weight, number)
                for name in sequences[s.name][before[s.name] : s.sample]
            )
            before[s.name] = s.sample
    return tuple(drawn)


def _sequences(
    seed: bytes, jobs: Mapping[str, Sequence[str]], sizes: Mapping[str, int]
) -> Mapping[str, tuple[str, ...]]:
    """Without strata the seed itself draws; with them each stratum has a seed of its own."""
    if set(jobs) == {""}:
        return {"": draw(seed, jobs[""], sizes[""])}
    return draw_stratified(seed, jobs, sizes)
