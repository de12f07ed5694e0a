"""What a call-back takes along: wool on top of what the open shortfall found too thin."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from calculations.catalogue import INVENTED_CATALOGUE, RollType
from calculations.top_up import top_up
from compliance.models import Shortfall
from jobs.call_backs import CallBackNeeds, register_call_back_source
from jobs.loading.needs import materials_of

NAMES = {roll.code: roll.name for roll in INVENTED_CATALOGUE}
# The engine's limits; a figure beyond them is a slip of the gauge, not a floor.
MOST_MM, MOST_M2 = 1000.0, 2000.0


def needs_from_shortfalls(job_ids: Collection[int]) -> dict[int, CallBackNeeds]:
    """By job id, for jobs with an open shortfall. Two queries, whatever the number.

    The depth that the thinnest place lacks over the floor that is estimated as below; of the
    rolls the job was planned with, where the catalogue knows them. Accessories were fitted with
    the first layers, so none are listed.
    """
    shortfalls = list(
        Shortfall.objects.open()
        .filter(job__in=job_ids)
        .select_related("assessment")
        .defer("assessment__inputs", "assessment__arithmetic")
    )
    if not shortfalls:
        return {}
    planned = materials_of(shortfall.job_id for shortfall in shortfalls)
    return {
        shortfall.job_id: _needs(
            shortfall,
            planned[shortfall.job_id].rolls if shortfall.job_id in planned else (),
        )
        for shortfall in shortfalls
    }


def offer_call_back_needs() -> None:
    """Tell `jobs` what a call-back takes along."""
    register_call_back_source(needs_from_shortfalls)


def _needs(shortfall: Shortfall, planned: Iterable[str]) -> CallBackNeeds:
    found = top_up(
        min(shortfall.deficit_mm, MOST_MM),
        min(shortfall.deficit_area_m2, MOST_M2),
        _catalogue(planned),
    )
    return CallBackNeeds(
        rolls=found.rolls,
        volume_m3=found.volume_m3,
        crew_hours=found.crew_hours,
        found_at=shortfall.assessment.made_at,
        reason=f"{shortfall.deficit_mm:.0f} mm short over {shortfall.deficit_area_m2:.1f} m2",
        names={code: NAMES[code] for code in found.rolls},
    )


def _catalogue(planned: Iterable[str]) -> tuple[RollType, ...]:
    codes = set(planned)
    return tuple(roll for roll in INVENTED_CATALOGUE if roll.code in codes) or INVENTED_CATALOGUE
