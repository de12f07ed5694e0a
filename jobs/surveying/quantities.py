"""From a finished survey and the depth rule to a layer plan."""

from __future__ import annotations

import logging

from django.db import transaction

from calculations import ENGINE_VERSION
from calculations.layers import Target
from calculations.loft import LoftError
from calculations.quantities import quantify
from jobs.catalogues import KEPT_AS, Catalogue, catalogue_for
from jobs.errors import Conflict, Refused
from jobs.lofts import loft_of
from jobs.models import Job, LayerPlan, Stage, Survey
from jobs.planning.needs import keep_needs_in_step
from jobs.stages import lock_job, move_job
from jobs.targets import DepthTarget, depth_target

log = logging.getLogger(__name__)

SECONDS_TO_PROVE = 1.0
MOST_AT_ONCE = 200


def current_survey(job: Job) -> Survey | None:
    """The survey that counts: the last finished one, with its measurements."""
    return Survey.objects.filter(job=job).complete().with_measurements().first()


def make_layer_plan(job: Job, *, seconds: float = SECONDS_TO_PROVE) -> LayerPlan:
    """Work out layers, rolls, accessories, crew-hours and U-values; keep them as a LayerPlan.

    The same survey, target, roll types and engine version give the plan made before. `seconds` is
    how long the cutting plan may look for a proof that no fewer rolls will do.

    Raises:
        Conflict: the job has no finished survey, or its roll types changed meanwhile.
        Refused: no depth rule is in force.
        calculations.loft.LoftError: the measurements cannot be.
    """
    survey = current_survey(job)
    if survey is None:
        raise Conflict(
            f"{job.reference} has no finished survey.", field="job", remedy="Finish its survey."
        )
    target = depth_target(job)
    catalogue = catalogue_for(job)
    plan = LayerPlan.objects.filter(job=job).first()
    if plan is None or not _still_holds(plan, survey, target, catalogue):
        plan = _worked_out(job, survey, target, catalogue, seconds)
    with transaction.atomic():
        locked = lock_job(job.pk)
        is_new = plan.pk is None
        if is_new:
            _refuse_other_rolls(locked, catalogue)
            plan.save()
        if locked.stage == Stage.TO_QUANTIFY:
            move_job(locked, Stage.TO_PLAN)
        elif is_new:
            keep_needs_in_step(locked)
    return plan


def _still_holds(
    plan: LayerPlan, survey: Survey, target: DepthTarget, catalogue: Catalogue
) -> bool:
    """Whether the newest plan is what would be worked out again."""
    kept = plan.quantities.get(KEPT_AS)
    same_rolls = not catalogue.is_own if kept is None else kept == catalogue.to_list()
    return same_rolls and (plan.survey_id, plan.target_depth_mm, plan.engine_version) == (
        survey.pk,
        target.depth_mm,
        ENGINE_VERSION,
    )


def _worked_out(
    job: Job, survey: Survey, target: DepthTarget, catalogue: Catalogue, seconds: float
) -> LayerPlan:
    depth = Target(depth_mm=target.depth_mm)
    found = quantify(loft_of(survey), depth, catalogue.rolls, seconds=seconds)
    return LayerPlan(
        job=job,
        survey=survey,
        engine_version=found.engine_version,
        target_depth_mm=target.depth_mm,
        target_source=target.source[:200],
        quantities=found.to_dict() | {KEPT_AS: catalogue.to_list()},
        net_area_m2=found.net_area_m2,
        roll_count=sum(line.count for line in found.rolls),
        packed_volume_m3=found.packed_volume_m3,
        crew_hours=found.labour.crew_hours,
        u_before_w_m2k=found.u_before,
        u_after_w_m2k=found.u_after,
    )


def _refuse_other_rolls(job: Job, catalogue: Catalogue) -> None:
    """A crew may have begun to lay, or the office changed a roll type, while it was worked out."""
    if catalogue_for(job) != catalogue:
        raise Conflict(
            f"The roll types of {job.reference} changed while its layers were worked out.",
            field="job",
            remedy="Work them out again.",
        )


def quantify_if_due(job: Job) -> int | None:
    """`make_layer_plan` for the background: the plan's id, or None where a person has to act.

    What stands in the way is told on the job's page when somebody asks for the plan there.
    """
    return quantify_in_background(job) if job.stage == Stage.TO_QUANTIFY else None


def quantify_in_background(job: Job) -> int | None:
    """`make_layer_plan` where nobody waits: the plan's id, or None where a person has to act."""
    try:
        return make_layer_plan(job).pk
    except (Refused, LoftError) as refusal:
        log.warning("No layer plan for %s: %s", job.reference, refusal)
        return None


def waiting_job_ids() -> list[int]:
    """Jobs that wait for their layer plan, the oldest first."""
    waiting = Job.objects.filter(stage=Stage.TO_QUANTIFY).order_by("pk")
    return list(waiting.values_list("pk", flat=True)[:MOST_AT_ONCE])


def current_layer_plan(job: Job) -> LayerPlan | None:
    return LayerPlan.objects.filter(job=job).select_related("survey").first()
