"""What waits for a surveyor."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from jobs.models import Job, Stage, Survey, User, Visit

MOST_SHOWN = 50


@dataclass(frozen=True, slots=True)
class SurveyWorklist:
    """Visits of the day and of the days after, drafts to finish, jobs without a visit."""

    today: list[Visit]
    later: list[Visit]
    drafts: list[Survey]
    unbooked: list[Job]
    unbooked_count: int


def survey_worklist(user: User, today: date) -> SurveyWorklist:
    visits = (
        Visit.objects.visible_to(user)
        .live()
        .with_job()
        .filter(kind=Visit.Kind.SURVEY, status__in=("booked", "on_site"))
    )
    crew = getattr(getattr(user, "operative", None), "crew_id", None)
    if crew is not None:
        visits = visits.filter(crew_id=crew)
    waiting = (
        Job.objects.visible_to(user)
        .with_place()
        .at_stage(Stage.TO_SURVEY)
        .exclude(visits__in=Visit.objects.live().filter(kind=Visit.Kind.SURVEY))
        .exclude(surveys__completed_at__isnull=True, surveys__isnull=False)
        .order_by("due_on", "pk")
    )
    drafts = Survey.objects.visible_to(user).filter(completed_at__isnull=True)
    return SurveyWorklist(
        today=list(visits.on_day(today)),
        later=list(visits.filter(during__startswith__date__gt=today)[:MOST_SHOWN]),
        drafts=list(drafts.select_related("job__property", "surveyed_by")[:MOST_SHOWN]),
        unbooked=list(waiting[:MOST_SHOWN]),
        unbooked_count=waiting.count(),
    )
