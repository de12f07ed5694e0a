"""The verdict on a job: reached under the job's lock, kept for good, and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from calculations import ENGINE_VERSION
from compliance import judging
from compliance.certificates.withdraw import withdraw_current
from compliance.engines import engine_of, judging_by
from compliance.gather import gather_evidence
from compliance.judged_words import without_words
from compliance.judging import Evidence, Judgement, judge_evidence, sha256_of
from compliance.models import Assessment
from compliance.shortfalls import close_shortfall, flag_shortfall
from jobs.errors import Conflict
from jobs.models import Job, Stage
from jobs.planning.needs import keep_needs_in_step
from jobs.stages import lock_job, move_job

ASSESSABLE = (Stage.TO_ASSESS, Stage.SHORT, Stage.CERTIFIED)
Verdict = Assessment.Verdict


def assess_job(job_id: int, *, at: datetime | None = None) -> Assessment:
    """Judge a job by its evidence and its rule, and do what follows, all in one transaction.

    The same evidence under the same rule and engine gives the assessment there already is.
    Otherwise: a new one; `short` flags a shortfall, `meets` closes it, anything but `meets`
    withdraws the current certificate; the job moves to the stage the verdict means.
    `at` is when it was made, where history has to be told.

    Raises:
        Conflict: the crew has not finished, so there is nothing to judge.
        Refused: no rule is in force for the property's nation.
        Job.DoesNotExist: there is no such job.
    """
    with transaction.atomic():
        job = lock_job(job_id)
        if job.stage not in ASSESSABLE:
            raise Conflict(
                f"{job.reference} is at “{job.get_stage_display()}”: the work is not handed "
                "over, so there is nothing to judge.",
                field="job",
                remedy="Assess it once the crew has left.",
            )
        evidence = gather_evidence(job)
        latest = latest_assessment(job)
        if latest and _same(latest, evidence):
            return latest
        assessment = _record(job, evidence, latest, at or timezone.now())
        _follow(job, assessment)
    return assessment


def assess_if_due(job_id: int) -> Assessment | None:
    """`assess_job`, or nothing while the job is at a stage that has no verdict."""
    if not Job.objects.filter(pk=job_id, stage__in=ASSESSABLE).exists():
        return None
    try:
        return assess_job(job_id)
    except Conflict:  # the stage moved on between the two looks
        return None


def latest_assessment(job: Job) -> Assessment | None:
    return Assessment.objects.filter(job=job).select_related("rule").order_by("-number").first()


@dataclass(frozen=True, slots=True)
class Rerun:
    """What an assessment's stored inputs give again.

    untouched: the inputs give the hash that is kept of them. engine_then: what judged it;
    engine_now: what judged it again, the same version where that was kept. same_verdict,
    same_arithmetic: whether the answer is the stored one, the engine's own version left out of
    the comparison.
    """

    untouched: bool
    engine_then: str
    engine_now: str
    same_verdict: bool
    same_arithmetic: bool

    @property
    def same_engine(self) -> bool:
        return self.engine_then == self.engine_now

    @property
    def agrees(self) -> bool | None:
        """Whether it was reached again to the letter; None where that engine was not kept.

        Another engine may have good reason to answer otherwise, so it neither proves nor
        disproves the record.
        """
        if not self.untouched:
            return False
        return self.same_verdict and self.same_arithmetic if self.same_engine else None

    @property
    def in_words(self) -> str:
        if not self.untouched:
            return "The stored inputs are not those that were hashed: the record was changed."
        same = "the same verdict and the same arithmetic, figure by figure"
        if not self.same_arithmetic:
            same = (
                "the same verdict, with other arithmetic"
                if self.same_verdict
                else "another verdict"
            )
        if self.same_engine:
            kept = "" if self.engine_now == ENGINE_VERSION else ", kept from then,"
            return f"Engine {self.engine_now}{kept} gives {same}."
        return (
            f"It was judged by engine {self.engine_then}, which is not kept here; engine "
            f"{self.engine_now} gives {same}. That neither proves nor disproves the record: to "
            f"repeat it to the letter, run engine {self.engine_then} on its inputs."
        )


def rerun(assessment: Assessment) -> Rerun:
    """Reach the verdict again from the stored inputs alone, with the engine that reached it."""
    kept = engine_of(assessment.engine_version)
    judge = kept or judging_by(judging)
    again = judge(assessment.inputs)
    return Rerun(
        untouched=sha256_of(assessment.inputs) == assessment.inputs_sha256,
        engine_then=assessment.engine_version,
        engine_now=assessment.engine_version if kept else ENGINE_VERSION,
        same_verdict=again["verdict"] == assessment.verdict,
        same_arithmetic=_without_version(again) == _without_version(assessment.arithmetic),
    )


def _without_version(arithmetic: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in arithmetic.items() if key != "engine_version"}


def rerun_agrees(assessment: Assessment) -> bool:
    """Whether the engine that judged it is kept and gives the stored answer to the letter."""
    return rerun(assessment).agrees is True


def _same(latest: Assessment, evidence: Evidence) -> bool:
    """Whether it rests on this very evidence; an older one may repeat words beside it."""
    given = (latest.inputs_sha256, sha256_of(without_words(latest.inputs)))
    return (
        evidence.sha256 in given
        and latest.rule_id == evidence.rule_id
        and latest.engine_version == ENGINE_VERSION
    )


def _record(job: Job, evidence: Evidence, latest: Assessment | None, at: datetime) -> Assessment:
    judgement = judge_evidence(evidence)
    return Assessment.objects.create(
        job=job,
        number=latest.number + 1 if latest else 1,
        rule_id=evidence.rule_id,
        engine_version=judgement.engine_version,
        verdict=judgement.verdict,
        inputs=evidence.to_dict(),
        inputs_sha256=evidence.sha256,
        arithmetic=judgement.to_dict(),
        missing=judgement.missing,
        deficit_mm=judgement.deficit_mm,
        deficit_area_m2=judgement.deficit_area_m2,
        made_at=at,
        **_depth_figures(judgement),
    )


def _depth_figures(judgement: Judgement) -> dict[str, Any]:
    """Mean and least over all areas [mm], each reading weighing the same."""
    areas = [a for a in (judgement.depths or {}).get("areas", []) if a["counted"]]
    count = sum(a["counted"] for a in areas)
    if not count:
        return {"reading_count": 0}
    return {
        "reading_count": count,
        "mean_depth_mm": sum(a["mean_mm"] * a["counted"] for a in areas) / count,
        "least_depth_mm": min(a["least_mm"] for a in areas),
    }


def _follow(job: Job, assessment: Assessment) -> None:
    """What a new verdict means for certificate, stage and shortfall."""
    if assessment.verdict != Verdict.MEETS:
        withdraw_current(job, f"The latest assessment says {assessment.get_verdict_display()}.")
    wanted = Stage.SHORT if assessment.verdict == Verdict.SHORT else Stage.TO_ASSESS
    if job.stage == Stage.CERTIFIED and assessment.verdict != Verdict.MEETS:
        job = move_job(job, Stage.TO_ASSESS)
    if job.stage != Stage.CERTIFIED:
        job = move_job(job, wanted)
    if assessment.verdict == Verdict.SHORT:
        flag_shortfall(job, assessment)
        keep_needs_in_step(job)  # its call-back needs what was found just now
    elif assessment.verdict == Verdict.MEETS:
        close_shortfall(job, assessment)
