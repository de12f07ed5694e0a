"""A company's own roll types: entering, changing, retiring; and jobs that are planned otherwise."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from jobs.catalogues import KEPT_AS, VERSION, Catalogue, catalogue_of
from jobs.errors import Conflict, Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import (
    LAYING_KINDS,
    Company,
    CompanyRollType,
    Job,
    LayerPlan,
    Stage,
    User,
    Visit,
)
from jobs.tasks import quantify_job_again

MOST_IN_USE = 40
"""The engine tries roll types in twos and threes: with more a plan would take seconds."""
LEAST_LAID_M3 = 0.02
"""Of one roll. A usual loft takes 16 m3: of smaller ones it would be thousands, and cutting lists
would take minutes to work out."""
SLACK = 1.05
"""Wool is packed tighter than it lies; a little more than it takes up as laid may be wrapping."""


def keep_roll_type(
    roll: CompanyRollType, *, by: User, version: int | None = None
) -> CompanyRollType:
    """Store a roll type of a company. Layer plans that there are keep what they were made with.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: a value cannot be (names the field), or its code is changed though lofts were
            planned with it. Conflict: the code is taken, or too many are in use.
    """
    roll.code, roll.name = roll.code.strip().upper(), " ".join(roll.name.split())
    roll.splits = sorted(set(roll.splits))
    with refusals_explained():
        Company.objects.select_for_update().get(pk=roll.company_id)
        stored = CompanyRollType.objects.filter(pk=roll.pk).first()
        if stored is None:
            roll.entered_by = by
        else:
            if version is not None and stored.version != version:
                raise Stale(f"“{stored}”")
            if _same(roll, stored):
                return stored
            roll.version = stored.version + 1
            _refuse_other_code(roll, stored)
        _refuse_what_cannot_be(roll)
        _refuse_too_many(roll)
        roll.save()
    return roll


def set_in_use(
    roll: CompanyRollType, in_use: bool, *, by: User, version: int | None = None
) -> CompanyRollType:
    """Retire a roll type, so that no further loft is planned with it, or take it up again.

    Raises:
        Stale, Conflict: as for `keep_roll_type`.
    """
    if roll.is_active == in_use:
        return roll
    roll.is_active = in_use
    return keep_roll_type(roll, by=by, version=version)


TOLD = (
    "code",
    "name",
    "thickness_mm",
    "width_mm",
    "length_mm",
    "conductivity_w_mk",
    "splits",
    "cost",
    "packed_volume_m3",
    "declared_in",
    "is_active",
)


def _same(roll: CompanyRollType, stored: CompanyRollType) -> bool:
    """Whether nothing was changed: then no plan is out of date by it."""
    return all(getattr(roll, name) == getattr(stored, name) for name in TOLD)


def _refuse_other_code(roll: CompanyRollType, stored: CompanyRollType) -> None:
    if roll.code == stored.code:
        return
    made_with = {f"quantities__{KEPT_AS}__contains": [{"code": stored.code}]}
    if LayerPlan.objects.filter(job__company=roll.company_id, **made_with).exists():
        raise Refused(
            f"Lofts were planned with “{stored.code}”; its code stays.",
            field="code",
            remedy="Retire it, and enter a roll type with the new code.",
        )


def _refuse_what_cannot_be(roll: CompanyRollType) -> None:
    if not roll.name:
        raise Refused("It has no name.", field="name", remedy="Give it the name your crews use.")
    refuse_invalid(roll)
    laid_m3 = roll.roll.laid_volume_m3
    if laid_m3 < LEAST_LAID_M3:
        raise Refused(
            f"One roll would hold {laid_m3 * 1000:.1f} litres of wool as laid, which is too little "
            "to plan lofts with.",
            field="length_mm",
            remedy=f"Give a roll or slab of {LEAST_LAID_M3 * 1000:.0f} litres or more: thickness, "
            "width and length multiplied.",
        )
    if roll.packed_volume_m3 > SLACK * laid_m3:
        raise Refused(
            f"Packed it would take more room than laid ({laid_m3:.2f} m³).",
            field="packed_volume_m3",
            remedy="Give the volume of one roll as delivered, in m³: 190 litres are 0.19.",
        )


def _refuse_too_many(roll: CompanyRollType) -> None:
    others = CompanyRollType.objects.in_use().filter(company=roll.company_id).exclude(pk=roll.pk)
    if roll.is_active and others.count() >= MOST_IN_USE:
        raise Conflict(
            f"You have {MOST_IN_USE} roll types in use, the most there can be.",
            field="is_active",
            remedy="Retire one that you lay no more.",
        )


def splits_from(text: str) -> list[int]:
    """Numbers of equal parts from words such as "2, 3"; none where it is empty.

    Raises Refused naming the field.
    """
    parts = re.split(r"[\s,;/]+", text.strip()) if text.strip() else []
    if not all(re.fullmatch(r"[2-6]", part) for part in parts):
        raise Refused(
            f"“{text.strip()[:40]}” are no numbers of equal parts.",
            field="splits",
            remedy="Give numbers from 2 to 6, such as 2, 3; leave it empty for a plain roll.",
        )
    return sorted({int(part) for part in parts})


# --- Jobs whose plans were made with other roll types than those of today


@dataclass(frozen=True, slots=True)
class PlannedOtherwise:
    """An open job that keeps a plan made with other roll types, and why it might be made again.

    goes_by: roll codes it lays that are not what they were then, or not in use any more.
    """

    job: Job
    plan_id: int
    why: str
    goes_by: tuple[str, ...]

    @property
    def lays_others(self) -> bool:
        """It lays rolls that are not today's; else it would only choose among others."""
        return bool(self.goes_by)


@dataclass(frozen=True, slots=True)
class _Planned:
    """What the newest plan of an open job says of its rolls. kept: as `LayerPlan` keeps it."""

    job: Job
    plan_id: int
    codes: tuple[str, ...]
    kept: list[Mapping[str, Any]] | None


@dataclass(frozen=True, slots=True)
class OpenPlans:
    """What open jobs that no crew has begun are planned with.

    by_roll: roll code -> jobs whose plan lays that roll. otherwise: those whose plan was not made
    with the roll types of today, first those that lay others.
    """

    by_roll: Counter[str]
    otherwise: tuple[PlannedOtherwise, ...]


def open_plans(company: Company, today: date) -> OpenPlans:
    """Three queries. A job that a crew lays or sets out to today keeps its plan and is left out."""
    now = catalogue_of(company.pk)
    kept_now = now.to_list()
    planned = list(_planned(company, today))
    otherwise = [
        PlannedOtherwise(one.job, one.plan_id, *_why(one, now))
        for one in planned
        if (now.is_own if one.kept is None else one.kept != kept_now)
    ]
    return OpenPlans(
        Counter(code for one in planned for code in one.codes),
        tuple(sorted(otherwise, key=lambda one: not one.lays_others)),
    )


def work_out_again(company: Company, today: date) -> list[int]:
    """Have the layers of all `OpenPlans.otherwise` worked out again in the background; their ids.

    A task that the broker loses leaves its job among them, to be asked for again.
    """
    ids = [one.job.pk for one in open_plans(company, today).otherwise]
    for pk in ids:
        transaction.on_commit(partial(quantify_job_again.delay, pk), robust=True)
    return ids


def _planned(company: Company, today: date) -> Iterator[_Planned]:
    jobs = {job.pk: job for job in _not_begun(company, today).with_place()}
    rows = (
        LayerPlan.objects.filter(job__in=jobs)
        .order_by("job_id", "-id")
        .distinct("job_id")
        .values_list("job_id", "pk", "quantities__rolls", f"quantities__{KEPT_AS}")
    )
    for job_id, pk, rolls, kept in rows:
        codes = tuple(line["roll"] for line in rolls or () if line["count"])
        yield _Planned(jobs[job_id], pk, codes, kept)


def _not_begun(company: Company, today: date) -> QuerySet[Any]:
    """Jobs between survey and fitting, of which no crew has laid anything or sets out today."""
    begun = Q(status__in=(Visit.Status.ON_SITE, Visit.Status.DONE)) | Q(work_steps__isnull=False)
    out = Q(status=Visit.Status.BOOKED, during__startswith__date__lte=today)
    visits = Visit.objects.filter(begun | out, job=OuterRef("pk"), kind__in=LAYING_KINDS)
    return Job.objects.at_stage(Stage.TO_PLAN, Stage.BOOKED).filter(
        ~Exists(visits), company=company
    )


def _why(planned: _Planned, now: Catalogue) -> tuple[str, tuple[str, ...]]:
    if planned.kept is None or not any(VERSION in row for row in planned.kept):
        return "planned with invented rolls", planned.codes
    if not now.is_own:
        return "you have no roll type in use any more", planned.codes
    then = {row["code"]: row[VERSION] for row in planned.kept}
    gone = tuple(code for code in planned.codes if code not in now.versions)
    changed = tuple(
        code for code in planned.codes if now.versions.get(code, then.get(code)) != then.get(code)
    )
    said = [f"{', '.join(gone)} not in use any more"] if gone else []
    said += [f"{', '.join(changed)} changed since"] if changed else []
    return "; ".join(said) or "other roll types were entered or changed since", gone + changed
