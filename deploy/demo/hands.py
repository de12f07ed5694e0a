"""Steps of the demo that need the database, run in helper processes by ids."""

from __future__ import annotations

import logging
from datetime import datetime


def begin() -> None:
    """Make Django ready in a fresh process; quiet, since the loader tells what is done."""
    import django

    django.setup()
    logging.disable(logging.INFO)


def inspect_photos(photo_ids: list[int]) -> int:
    from jobs.evidence.inspection import inspect
    from jobs.models import Photo

    photos = Photo.objects.select_related("visit", "job__property").filter(pk__in=photo_ids)
    return sum(1 for photo in photos.order_by("pk") if inspect(photo).readable)


def assess_and_certify(job_id: int, at: datetime) -> str:
    """Assess a job as its own time would have; issue the certificate where the rule is met."""
    from datetime import timedelta

    from compliance.assess import assess_job
    from compliance.certificates.issue import issue_certificate

    assessment = assess_job(job_id, at=at)
    if assessment.verdict == "meets":
        issue_certificate(job_id, at=at + timedelta(minutes=2))
    return assessment.verdict
