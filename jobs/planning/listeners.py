"""What planning does when a job moves on or a visit falls away."""

from __future__ import annotations

from typing import Any

from jobs.announce import stage_changed, visit_changed
from jobs.models import Job, Visit
from jobs.planning.needs import keep_needs_in_step

FELL_AWAY = (Visit.Status.CANCELLED, Visit.Status.STOPPED)


def connect() -> None:
    """Join the announcements. Called once, when the app is ready."""
    stage_changed.connect(on_stage_changed, dispatch_uid="jobs.planning.stage_changed")
    visit_changed.connect(on_visit_changed, dispatch_uid="jobs.planning.visit_changed")


def on_stage_changed(sender: Any, *, job: Job, **_: Any) -> None:
    """In the mover's transaction, which holds the job's lock."""
    keep_needs_in_step(job)


def on_visit_changed(sender: Any, *, visit: Visit, **_: Any) -> None:
    """A visit that fell away may leave a need open that its job has no use for any more."""
    if visit.status in FELL_AWAY:
        keep_needs_in_step(Job.objects.with_place().get(pk=visit.job_id))
