"""What jobs and visits need on a van, from their layer plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from calculations.catalogue import INVENTED_CATALOGUE
from calculations.crew_kit import KIT_ITEMS
from jobs.models import LayerPlan, Visit
from jobs.models.jobs import Job

LOADING_KINDS = (Visit.Kind.FITTING, Visit.Kind.CALL_BACK)
PACKED_M3 = {roll.code: roll.packed_volume_m3 for roll in INVENTED_CATALOGUE}
NOT_A_THING = "check"
"""Unit of lines that are done, not carried, such as a clearance."""


@dataclass(frozen=True, slots=True)
class LoadNeeds:
    """What goes on a van. rolls: roll code -> rolls; accessories: item -> quantity in its unit.

    volume_m3: of the packed rolls; accessories and kit find their place beside them.
    """

    rolls: Mapping[str, int] = field(default_factory=dict)
    accessories: Mapping[str, float] = field(default_factory=dict)
    volume_m3: float = 0.0


NOTHING = LoadNeeds()


@dataclass(frozen=True, slots=True)
class Material:
    """The part of a layer plan that is carried: its roll lines and its accessory lines."""

    job_id: int
    roll_lines: tuple[Mapping[str, Any], ...]
    accessory_lines: tuple[Mapping[str, Any], ...]
    packed_volume_m3: float

    @property
    def rolls(self) -> dict[str, int]:
        return {line["roll"]: int(line["count"]) for line in self.roll_lines if line["count"]}

    def roll_m3(self, code: str) -> float:
        """Packed volume of one roll [m3]: the catalogue's, else the mean of the plan."""
        count = sum(self.rolls.values())
        return PACKED_M3.get(code, self.packed_volume_m3 / count if count else 0.0)

    @property
    def needs(self) -> LoadNeeds:
        accessories: dict[str, float] = defaultdict(float)
        for line in self.accessory_lines:
            if line["item"] not in KIT_ITEMS and line["unit"] != NOT_A_THING:
                accessories[line["item"]] += float(line["quantity"])
        return LoadNeeds(self.rolls, dict(accessories), self.packed_volume_m3)


def plans_of(jobs: Iterable[Job]) -> dict[int, LayerPlan]:
    """The current layer plan of each job, by job id, in one query."""
    ids = [job.pk for job in jobs]
    rows = LayerPlan.objects.filter(job_id__in=ids).order_by("job_id", "-id").distinct("job_id")
    return {plan.job_id: plan for plan in rows}


def materials_of(job_ids: Iterable[int]) -> dict[int, Material]:
    """What the current layer plan of each job takes, by job id, in one query.

    Only the lines that are carried are read; a plan's strips and drawings stay where they are.
    """
    rows = (
        LayerPlan.objects.filter(job_id__in=set(job_ids))
        .order_by("job_id", "-id")
        .distinct("job_id")
        .values_list("job_id", "quantities__rolls", "quantities__accessories", "packed_volume_m3")
    )
    return {
        job_id: Material(job_id, tuple(rolls or ()), tuple(lines or ()), volume)
        for job_id, rolls, lines, volume in rows
    }


def needs_of_job(job: Job) -> LoadNeeds:
    """Everything that fitting a job takes on vans; nothing while it has no layer plan."""
    return needs_of_jobs([job.pk])[job.pk]


def needs_of_jobs(job_ids: Iterable[int]) -> dict[int, LoadNeeds]:
    """`needs_of_job` of many, by job id, in one query."""
    ids = set(job_ids)
    found = materials_of(ids)
    return {pk: found[pk].needs if pk in found else NOTHING for pk in ids}


@dataclass(frozen=True, slots=True)
class VisitShare:
    """The part of a job's material that one of its visits takes.

    rolls: roll code -> rolls. first: accessories go with the job's first visit.
    """

    visit: Visit
    material: Material
    rolls: Mapping[str, int]
    first: bool

    @property
    def volume_m3(self) -> float:
        return sum(count * self.material.roll_m3(code) for code, count in self.rolls.items())


def shares_of(
    visits: Iterable[Visit], materials: Mapping[int, Material] | None = None
) -> dict[int, VisitShare]:
    """What each visit takes of its job's material, by visit id. Two queries, whatever the number.

    A job that is fitted over several visits has its rolls shared among them by their length, in
    whole rolls that add up to the plan's. A call-back takes no rolls: the job's were laid, and
    what is short is for its shortfall to say. Visits of jobs without a layer plan are left out.
    """
    wanted = [visit for visit in visits if visit.kind in LOADING_KINDS]
    if materials is None:
        materials = materials_of(visit.job_id for visit in wanted)
    fittings = _fittings_of({visit.job_id for visit in wanted})
    found: dict[int, VisitShare] = {}
    for visit in wanted:
        material = materials.get(visit.job_id)
        if material is None:
            continue
        if visit.kind == Visit.Kind.CALL_BACK:
            found[visit.pk] = VisitShare(visit, material, {}, first=False)
            continue
        of_job = [v for v in fittings[visit.job_id] if v[2] != "stopped" or v[0] == visit.pk]
        found[visit.pk] = _share(visit, material, of_job)
    return found


def _fittings_of(job_ids: set[int]) -> dict[int, list[tuple[int, float, str]]]:
    """(id, length in seconds, status) of every live fitting visit of each job, in order of time."""
    rows = (
        Visit.objects.live()
        .filter(job_id__in=job_ids, kind=Visit.Kind.FITTING)
        .order_by("during", "id")
        .values_list("job_id", "pk", "during", "status")
    )
    found: dict[int, list[tuple[int, float, str]]] = defaultdict(list)
    for job_id, pk, during, status in rows:
        found[job_id].append((pk, (during.upper - during.lower).total_seconds(), status))
    return found


def _share(visit: Visit, material: Material, of_job: list[tuple[int, float, str]]) -> VisitShare:
    place = next(n for n, (pk, *_) in enumerate(of_job) if pk == visit.pk)
    total = sum(seconds for _, seconds, _ in of_job)
    before = sum(seconds for _, seconds, _ in of_job[:place]) / total
    until = sum(seconds for _, seconds, _ in of_job[: place + 1]) / total
    rolls = {
        code: count
        for code, of_plan in material.rolls.items()
        if (count := round(of_plan * until) - round(of_plan * before))
    }
    return VisitShare(visit, material, rolls, first=place == 0)
