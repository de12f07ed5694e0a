"""The roll types the invented company lays: the invented catalogue, entered as its own."""

from __future__ import annotations

from datetime import datetime

from calculations.catalogue import INVENTED_CATALOGUE
from deploy.demo.people import Cast
from jobs.models import CompanyRollType


def make_roll_types(cast: Cast, now: datetime) -> None:
    """In the catalogue's order, which decides between rolls that come out alike."""
    CompanyRollType.objects.bulk_create(
        CompanyRollType(
            company=cast.company,
            **roll.to_dict(),
            declared_in="Invented with the rest of this demonstration",
            entered_by=cast.people["planner"],
            entered_at=now,
        )
        for roll in INVENTED_CATALOGUE
    )
