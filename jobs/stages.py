"""Moving a job from stage to stage."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from jobs.announce import stage_changed
from jobs.errors import Conflict, Refused
from jobs.models.jobs import ALLOWED_MOVES, Job, Stage


def lock_job(job_id: int) -> Job:
    """The job, locked until the transaction ends, so that its stage cannot race."""
    return Job.objects.select_for_update(of=("self",)).with_place().get(pk=job_id)


def move_job(job: Job, to: Stage, *, called_off_reason: str = "") -> Job:
    """Move a job to another stage and announce it. Staying where it is does nothing.

    Raises:
        Conflict: the stages in between were left out.
    """
    with transaction.atomic():
        current = lock_job(job.pk)
        was = Stage(current.stage)
        if was == to:
            return current
        if (was, to) not in ALLOWED_MOVES:
            raise Conflict(
                f"{current.reference} is at “{was.label}” and cannot go to “{to.label}”.",
                field="stage",
                remedy="Open the job to see what it needs next.",
            )
        current.stage = to
        current.stage_since = timezone.now()
        current.version += 1
        current.called_off_reason = called_off_reason
        current.save(update_fields=["stage", "stage_since", "version", "called_off_reason"])
        stage_changed.send(Job, job=current, was=was)
    job.stage, job.stage_since, job.version = current.stage, current.stage_since, current.version
    return current


def call_off(job: Job, reason: str) -> Job:
    """End a job before it is certified; its records stay."""
    if not reason.strip():
        raise Refused("Say why the job is called off.", field="called_off_reason")
    return move_job(job, Stage.CALLED_OFF, called_off_reason=reason.strip())
