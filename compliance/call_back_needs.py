"""What a call-back takes along: wool on top of what the open shortfall found too thin."""

from __future__ import annotations

from collections.abc import Collection

from calculations.catalogue import RollType
from calculations.top_up import top_up
from compliance.models import Shortfall
from jobs.call_backs import CallBackNeeds, register_call_back_source
from jobs.catalogues import catalogues_of
from jobs.loading.needs import materials_of

# The engine's limits; a figure beyond them is a slip of the gauge, not a floor.
MOST_MM, MOST_M2 = 1000.0, 2000.0


def needs_from_shortfalls(job_ids: Collection[int]) -> dict[int, CallBackNeeds]:
    """By job id, for jobs with an open shortfall. Three queries at most, whatever the number.

    The depth that the thinnest place lacks over the floor that is estimated as below; of the
    rolls the job was planned with, as they were then, else of those its company lays today.
    Accessories were fitted with the first layers, so none are listed.
    """
    shortfalls = list(
        Shortfall.objects.open()
        .filter(job__in=job_ids)
        .select_related("assessment", "job")
        .defer("assessment__inputs", "assessment__arithmetic")
    )
    if not shortfalls:
        return {}
    planned = {
        job_id: tuple(material.roll_types.values())
        for job_id, material in materials_of(s.job_id for s in shortfalls).items()
    }
    unknown = {s.job.company_id for s in shortfalls if not planned.get(s.job_id)}
    today = catalogues_of(unknown) if unknown else {}
    return {
        s.job_id: _needs(s, planned.get(s.job_id) or today[s.job.company_id].rolls)
        for s in shortfalls
    }


def offer_call_back_needs() -> None:
    """Tell `jobs` what a call-back takes along."""
    register_call_back_source(needs_from_shortfalls)


def _needs(shortfall: Shortfall, catalogue: tuple[RollType, ...]) -> CallBackNeeds:
    found = top_up(
        min(shortfall.deficit_mm, MOST_MM),
        min(shortfall.deficit_area_m2, MOST_M2),
        catalogue,
    )
    return CallBackNeeds(
        rolls=found.rolls,
        volume_m3=found.volume_m3,
        crew_hours=found.crew_hours,
        found_at=shortfall.assessment.made_at,
        reason=f"{shortfall.deficit_mm:.0f} mm short over {shortfall.deficit_area_m2:.1f} m2",
        roll_types=tuple(roll for roll in catalogue if roll.code in found.rolls),
    )
