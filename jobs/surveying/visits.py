"""What a finished survey means for the visits that were booked for it."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from jobs.announce import visit_changed
from jobs.evidence.receiving import change_status
from jobs.models import Job, User, Visit
from jobs.planning.booking import cancel_visit


def close_survey_visits(job: Job, by: User, at: datetime) -> None:
    """End the job's booked survey visits: done up to the day of `at`, cancelled after it.

    Take the job's lock first.
    """
    booked = job.visits.filter(kind=Visit.Kind.SURVEY, status=Visit.Status.BOOKED)
    for visit in booked.select_for_update(of=("self",)):
        if timezone.localdate(visit.during.lower) > timezone.localdate(at):
            cancel_visit(visit, "The survey was finished before.", by)
        else:
            change_status(visit, Visit.Status.DONE, left_at=at)
            visit_changed.send(Visit, visit=visit)
