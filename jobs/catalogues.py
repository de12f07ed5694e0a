"""Which roll types lofts are planned with: a company's own, and those that a plan was made with.

A layer plan keeps the roll types that it could choose from as they were on its day, so that
whoever reads it later (loads, verdicts, call-backs) never asks what a company lays today. What a
roll cost is not kept there, since crews and auditors read plans; the history of the company's
roll types has it, by the version that the plan names.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.apps import apps
from django.db.models import Q

from calculations.catalogue import INVENTED_CATALOGUE, RollType, roll_type_from_dict
from jobs.models import LAYING_KINDS, CompanyRollType, Job, LayerPlan, Visit

KEPT_AS = "catalogue"
"""The key under which `LayerPlan.quantities` holds the roll types a plan was made with."""
Kept = Sequence[Mapping[str, Any]]
NOT_KEPT = frozenset({"cost"})
VERSION = "version"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Roll types to plan with, in the order in which they were entered.

    versions: code -> the version of the company's own type; empty for the invented ones.
    """

    rolls: tuple[RollType, ...]
    versions: Mapping[str, int]

    @property
    def is_own(self) -> bool:
        return bool(self.versions)

    def to_list(self) -> list[dict[str, Any]]:
        """As a layer plan keeps it. Two of one company that give the same are the same."""
        return [
            {name: value for name, value in roll.to_dict().items() if name not in NOT_KEPT}
            | ({VERSION: self.versions[roll.code]} if self.is_own else {})
            for roll in self.rolls
        ]


INVENTED = Catalogue(INVENTED_CATALOGUE, {})
_INVENTED_BY_CODE = {roll.code: roll for roll in INVENTED_CATALOGUE}


def catalogue_of(company_id: int) -> Catalogue:
    """What a company plans with: its roll types in use, the invented ones while it has none."""
    return catalogues_of([company_id])[company_id]


def catalogues_of(company_ids: Collection[int]) -> dict[int, Catalogue]:
    """`catalogue_of` several companies, in one query."""
    own: dict[int, list[CompanyRollType]] = {}
    for row in CompanyRollType.objects.in_use().filter(company__in=company_ids):
        own.setdefault(row.company_id, []).append(row)
    return {
        pk: Catalogue(tuple(r.roll for r in own[pk]), {r.code: r.version for r in own[pk]})
        if pk in own
        else INVENTED
        for pk in company_ids
    }


def has_own_roll_types(company_id: int) -> bool:
    return CompanyRollType.objects.in_use().filter(company=company_id).exists()


def catalogue_for(job: Job) -> Catalogue:
    """What a job's layers are worked out with: its company's roll types of today.

    Once a crew has begun to lay, those of the plan that it lays by: what is up there is not
    changed by what the company buys since, and a plan made then (of a loft measured again) must
    not say so.
    """
    plan = LayerPlan.objects.filter(job=job).first() if laying_has_begun(job) else None
    if plan is None:
        return catalogue_of(job.company_id)
    if was_invented(plan):
        return INVENTED
    kept = plan.quantities[KEPT_AS]
    versions = {row["code"]: row[VERSION] for row in kept}
    costs = _costs(job.company_id, versions)
    rolls = (_roll(row) for row in kept)
    return Catalogue(tuple(replace(r, cost=costs.get(r.code, 0.0)) for r in rolls), versions)


def laying_has_begun(job: Job) -> bool:
    """Whether a crew is laying or has laid. A visit that was stopped counts by its steps."""
    visits = Visit.objects.filter(job=job, kind__in=LAYING_KINDS)
    begun = Q(status__in=(Visit.Status.ON_SITE, Visit.Status.DONE)) | Q(work_steps__isnull=False)
    return visits.filter(begun).exists()


def _costs(company_id: int, versions: Mapping[str, int]) -> dict[str, float]:
    """What each roll type cost at its version, from the history of the company's."""
    events = apps.get_model("jobs.CompanyRollTypeEvent").objects.filter(company=company_id)
    rows = events.filter(code__in=versions).order_by("pgh_id")
    told = rows.values_list("code", "version", "cost")
    return {code: cost for code, version, cost in told if versions[code] == version}


def roll_planned_with(kept: Kept | None, code: str) -> RollType | None:
    """A roll type as it was when a plan was made, from what the plan kept; its cost is 0.

    None for a code that the plan did not know. Plans of before roll types were kept were all made
    with the invented ones.
    """
    if kept is None:
        return _INVENTED_BY_CODE.get(code)
    return next((_roll(row) for row in kept if row["code"] == code), None)


def rolls_laid(plan: LayerPlan) -> list[RollType]:
    """The roll types that a plan lays, as they were when it was made; their cost is 0."""
    kept = plan.quantities.get(KEPT_AS)
    laid = (roll_planned_with(kept, line["roll"]) for line in plan.quantities.get("rolls", ()))
    return [roll for roll in laid if roll is not None]


def was_invented(plan: LayerPlan) -> bool:
    """Whether a plan was made with the invented roll types."""
    kept = plan.quantities.get(KEPT_AS)
    return kept is None or not any(VERSION in row for row in kept)


def _roll(row: Mapping[str, Any]) -> RollType:
    return roll_type_from_dict({name: value for name, value in row.items() if name != VERSION})
