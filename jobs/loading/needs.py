"""What jobs and visits need on a van, from their layer plans."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from calculations.catalogue import RollType
from calculations.crew_kit import KIT_ITEMS
from jobs.call_backs import CallBackNeeds, call_back_needs
from jobs.catalogues import KEPT_AS, roll_planned_with
from jobs.models import LayerPlan, Visit, VisitKind
from jobs.models.jobs import Job

LOADING_KINDS = (Visit.Kind.FITTING, Visit.Kind.CALL_BACK)
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
    """The part of a layer plan that is carried: its roll lines and its accessory lines.

    kept: the roll types the plan was made with, as it keeps them; None for plans of before.
    """

    job_id: int
    roll_lines: tuple[Mapping[str, Any], ...]
    accessory_lines: tuple[Mapping[str, Any], ...]
    packed_volume_m3: float
    kept: tuple[Mapping[str, Any], ...] | None = None

    @property
    def rolls(self) -> dict[str, int]:
        return {line["roll"]: int(line["count"]) for line in self.roll_lines if line["count"]}

    @property
    def names(self) -> dict[str, str]:
        """Roll code -> name, of the rolls that are carried."""
        return {line["roll"]: line.get("name", line["roll"]) for line in self.roll_lines}

    @property
    def roll_types(self) -> dict[str, RollType]:
        """Of the rolls that are laid, by code, as they were when it was planned; cost 0.

        A code that the plan did not know, such as one that somebody wrote in, is left out.
        """
        known = {code: roll_planned_with(self.kept, code) for code in self.rolls}
        return {code: roll for code, roll in known.items() if roll is not None}

    def roll_m3(self, code: str) -> float:
        """Packed volume of one roll [m3]: as it was when planned, else the mean of the plan.

        Rolls travel packed and are unpacked where they are laid [common practice, no published
        source]: what a van holds is reckoned by the packed volume, and no other is needed.
        """
        roll = roll_planned_with(self.kept, code)
        if roll is not None:
            return roll.packed_volume_m3
        count = sum(self.rolls.values())
        return self.packed_volume_m3 / count if count else 0.0

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
        .values_list(
            "job_id",
            "quantities__rolls",
            "quantities__accessories",
            "packed_volume_m3",
            f"quantities__{KEPT_AS}",
        )
    )
    return {
        job_id: Material(
            job_id,
            tuple(rolls or ()),
            tuple(lines or ()),
            volume,
            None if kept is None else (*kept,),
        )
        for job_id, rolls, lines, volume, kept in rows
    }


def material_of_call_back(job_id: int, needs: CallBackNeeds) -> Material:
    """What puts a job right, as lines like those of a layer plan."""
    names = {roll.code: roll.name for roll in needs.roll_types}
    rolls = (
        {"roll": code, "name": names.get(code, code), "count": count, "reason": needs.reason}
        for code, count in needs.rolls.items()
    )
    accessories = (
        {"item": item, "name": item, "quantity": quantity, "unit": "piece", "reason": needs.reason}
        for item, quantity in needs.accessories.items()
    )
    kept = tuple(roll.to_dict() for roll in needs.roll_types)
    return Material(job_id, tuple(rolls), tuple(accessories), needs.volume_m3, kept or None)


def needs_of_job(job: Job, kind: str = VisitKind.FITTING) -> LoadNeeds:
    """Everything that fitting a job takes on vans; nothing while it has no layer plan.

    For a call-back what puts it right; nothing while nobody knows what is short.
    """
    return needs_of_jobs([job.pk], kind)[job.pk]


def needs_of_jobs(job_ids: Iterable[int], kind: str = VisitKind.FITTING) -> dict[int, LoadNeeds]:
    """`needs_of_job` of many, by job id, in a constant number of queries (one for fittings)."""
    ids = set(job_ids)
    if kind == VisitKind.CALL_BACK:
        known = call_back_needs(ids)
        found = {pk: material_of_call_back(pk, needs) for pk, needs in known.items()}
    else:
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
    """What each visit takes of its job's material, by visit id. Few queries, whatever the number.

    A job that is fitted over several visits has its rolls shared among them by their length, in
    whole rolls that add up to the plan's. A call-back takes what puts the job right, shared the
    same way; no rolls where nobody knows what is short, or where it was made before that was
    found. Visits of jobs without a layer plan are left out, but for such call-backs.
    """
    wanted = [visit for visit in visits if visit.kind in LOADING_KINDS]
    if materials is None:
        materials = materials_of(visit.job_id for visit in wanted)
    short = call_back_needs(v.job_id for v in wanted if v.kind == Visit.Kind.CALL_BACK)
    siblings = _visits_of({visit.job_id for visit in wanted})
    found: dict[int, VisitShare] = {}
    for visit in wanted:
        of_job = [v for v in siblings[visit.job_id, visit.kind] if v.counts_for(visit)]
        material = materials.get(visit.job_id)
        needs = short.get(visit.job_id) if visit.kind == Visit.Kind.CALL_BACK else None
        if needs is not None and visit.during.lower >= needs.found_at:
            since = [v for v in of_job if v.starts_at >= needs.found_at]
            found[visit.pk] = _share(visit, material_of_call_back(visit.job_id, needs), since)
        elif material is not None and visit.kind == Visit.Kind.CALL_BACK:
            found[visit.pk] = VisitShare(visit, material, {}, first=False)
        elif material is not None:
            found[visit.pk] = _share(visit, material, of_job)
    return found


@dataclass(frozen=True, slots=True)
class _Sibling:
    """One of a job's visits of a kind, among which its material is shared."""

    pk: int
    starts_at: datetime
    seconds: float
    status: str

    def counts_for(self, visit: Visit) -> bool:
        return self.status != "stopped" or self.pk == visit.pk


def _visits_of(job_ids: set[int]) -> dict[tuple[int, str], list[_Sibling]]:
    """Every live visit that lays, by job and kind, in order of time. One query."""
    rows = (
        Visit.objects.live()
        .filter(job_id__in=job_ids, kind__in=LOADING_KINDS)
        .order_by("during", "id")
        .values_list("job_id", "kind", "pk", "during", "status")
    )
    found: dict[tuple[int, str], list[_Sibling]] = defaultdict(list)
    for job_id, kind, pk, during, status in rows:
        seconds = (during.upper - during.lower).total_seconds()
        found[job_id, kind].append(_Sibling(pk, during.lower, seconds, status))
    return found


def _share(visit: Visit, material: Material, of_job: list[_Sibling]) -> VisitShare:
    place = next(n for n, sibling in enumerate(of_job) if sibling.pk == visit.pk)
    total = sum(sibling.seconds for sibling in of_job)
    before = sum(sibling.seconds for sibling in of_job[:place]) / total
    until = sum(sibling.seconds for sibling in of_job[: place + 1]) / total
    rolls = {
        code: count
        for code, of_plan in material.rolls.items()
        if (count := round(of_plan * until) - round(of_plan * before))
    }
    return VisitShare(visit, material, rolls, first=place == 0)
