"""Walking over many jobs for one rule: what it would change, and judging anew once it holds.

A run goes in pieces, each in a transaction of its own that also moves the run's mark; so it may
be killed anywhere, started twice, and taken up again: no job is left out or counted twice.
"""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Count, DateTimeField, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from compliance.assess import ASSESSABLE, assess_if_due
from compliance.gather import laid_conductivities
from compliance.judging import Evidence
from compliance.models import Assessment, DepthRule, RuleRun, RuleRunJob
from compliance.rule_verdicts import AskedOfEvidence, verdicts_under
from compliance.rules import requirement_of
from jobs.errors import Conflict, Refused
from jobs.models import Handover, Job, LayerPlan, Photo, Stage, User

log = logging.getLogger(__name__)

PREVIEW_PIECE = 200
REASSESSMENT_PIECE = 25
LEFT_BEHIND = timedelta(minutes=5)
"""A run that has not moved for so long has lost its task; the beat starts it again."""

OPEN_AND_JUDGED = (Stage.TO_ASSESS, Stage.SHORT)
NOT_FITTED_YET = (Stage.TO_PLAN, Stage.BOOKED)


def begin_preview(rule: DepthRule, by: User) -> RuleRun:
    """A run that works out, for every open job, its verdict if this rule held.

    Raises:
        Conflict: one is under way.
    """
    try:
        with transaction.atomic():
            rule.runs.previews().filter(ended_at__isnull=False).delete()  # type: ignore[attr-defined]
            return _begin(rule, RuleRun.Kind.PREVIEW, by)
    except IntegrityError as error:
        raise Conflict(
            "A preview of this rule is under way.", remedy="Wait until it is done."
        ) from error


def begin_due_reassessments(today: date) -> list[RuleRun]:
    """A run for each approved rule that has begun and whose jobs were not looked at yet."""
    due = DepthRule.objects.filter(
        ~Exists(RuleRun.objects.filter(rule=OuterRef("pk"), kind=RuleRun.Kind.REASSESSMENT)),
        approved_at__isnull=False,
        approved_at__date__lte=F("starts_on"),
        starts_on__lte=today,
    )
    runs = []
    for rule in due:
        try:
            with transaction.atomic():
                runs.append(_begin(rule, RuleRun.Kind.REASSESSMENT, None))
        except IntegrityError:  # another beat was faster
            continue
    return runs


def left_behind(now: datetime) -> QuerySet[Any, int]:
    """Ids of runs whose task was lost."""
    stale = RuleRun.objects.unfinished().filter(moved_at__lt=now - LEFT_BEHIND)
    return stale.values_list("pk", flat=True)


def move_on(run_id: int) -> bool:
    """Do the next piece of a run. Returns whether there is more to do.

    A piece that another process has in hand is left to it.
    """
    with transaction.atomic():
        run = (
            RuleRun.objects.select_for_update(skip_locked=True, of=("self",))
            .select_related("rule")
            .filter(pk=run_id, ended_at__isnull=True)
            .first()
        )
        if run is None:
            return False
        preview = run.kind == RuleRun.Kind.PREVIEW
        piece = PREVIEW_PIECE if preview else REASSESSMENT_PIECE
        ids = list(jobs_of(run).filter(pk__gt=run.last_job_id).values_list("pk", flat=True)[:piece])
        found = previewed(run.rule, ids) if preview else _judged_anew(ids)
        RuleRunJob.objects.bulk_create(
            (RuleRunJob(run=run, job_id=job, before=b, after=a) for job, b, a in found),
            ignore_conflicts=True,
        )
        run.done += len(ids)
        run.last_job_id = ids[-1] if ids else run.last_job_id
        run.moved_at = timezone.now()
        if len(ids) < piece:
            run.ended_at = run.moved_at
        run.save(update_fields=["done", "last_job_id", "moved_at", "ended_at"])
    return run.ended_at is None


def jobs_of(run: RuleRun) -> QuerySet[Job]:
    """The jobs a run looks at, in the order it takes them."""
    judged = Job.objects.filter(
        Exists(Assessment.objects.filter(job=OuterRef("pk"))),
        property__nation=run.rule.nation,
    ).order_by("pk")
    if run.kind == RuleRun.Kind.PREVIEW:
        return judged.filter(stage__in=OPEN_AND_JUDGED)
    handed_over = (
        Handover.objects.current()
        .filter(visit__job=OuterRef("pk"))
        .order_by("-corrected_at", "-id")
        .values("corrected_at")[:1]
    )
    return judged.annotate(handed_over=Subquery(handed_over, output_field=DateTimeField())).filter(
        Q(handed_over__isnull=True) | Q(handed_over__date__gte=run.rule.starts_on),
        stage__in=ASSESSABLE,
    )


def planned_shallower(rule: DepthRule) -> QuerySet[Job]:
    """Jobs not fitted yet whose newest plan lays less than the rule would ask."""
    newest = LayerPlan.objects.filter(job=OuterRef("pk")).order_by("-made_at", "-id")
    return Job.objects.annotate(planned_mm=Subquery(newest.values("target_depth_mm")[:1])).filter(
        stage__in=NOT_FITTED_YET,
        property__nation=rule.nation,
        planned_mm__lt=rule.min_depth_mm,
    )


def asked_by(rule: DepthRule) -> AskedOfEvidence:
    requirement = requirement_of(rule)
    return AskedOfEvidence(
        requirement,
        asdict(requirement),
        rule.least_before_photos,
        rule.least_after_photos,
        rule.photos_at_points,
        rule.greatest_u_value_w_m2k,
    )


def changes_by_company(run: RuleRun) -> list[dict[str, Any]]:
    """Jobs whose verdict changes, counted by company and by what changes into what."""
    return list(
        run.jobs.changed()  # type: ignore[attr-defined]
        .order_by()
        .values("job__company_id", "job__company__name", "before", "after")
        .annotate(jobs=Count("pk"))
        .order_by("job__company__name", "before", "after")
    )


def tally(run: RuleRun) -> Counter[tuple[str, str]]:
    """Jobs by verdict before and after, changed or not."""
    rows = run.jobs.order_by().values_list("before", "after").annotate(jobs=Count("pk"))  # type: ignore[attr-defined]
    return Counter({(before, after): jobs for before, after, jobs in rows})


def _begin(rule: DepthRule, kind: str, by: User | None) -> RuleRun:
    run = RuleRun(rule=rule, kind=kind, begun_by=by)
    run.total = jobs_of(run).count()
    run.save()
    return run


def previewed(rule: DepthRule, ids: list[int]) -> list[tuple[int, str, str]]:
    """By job its latest verdict, and the one that this rule would give."""
    latest = list(
        Assessment.objects.filter(job__in=ids)
        .latest_per_job()
        .order_by("job_id")
        .only("job_id", "verdict", "inputs")
    )
    evidence = [Evidence.from_dict(assessment.inputs) for assessment in latest]
    if rule.photos_at_points:
        evidence = _with_points(evidence)
    if rule.greatest_u_value_w_m2k is not None:
        evidence = _with_wool(rule, [assessment.job_id for assessment in latest], evidence)
    after = verdicts_under(asked_by(rule), evidence)
    return [(a.job_id, a.verdict, new) for a, new in zip(latest, after, strict=True)]


def _with_points(evidence: list[Evidence]) -> list[Evidence]:
    """Photos with the points they were taken at, which earlier rules did not ask to keep."""
    ids = [photo["id"] for one in evidence for photo in one.photos]
    labels = dict(Photo.objects.filter(pk__in=ids).values_list("pk", "point_label"))
    return [
        Evidence.from_dict(
            {
                **one.to_dict(),
                "photos": [{**p, "point": labels.get(p["id"], "")} for p in one.photos],
            }
        )
        for one in evidence
    ]


def _with_wool(rule: DepthRule, job_ids: list[int], evidence: list[Evidence]) -> list[Evidence]:
    """With the wool that lies there, which rules without a U-value route did not ask to keep."""
    known = laid_conductivities(job_ids)
    return [
        replace(
            one,
            u_value_route={
                "greatest_u_value_w_m2k": rule.greatest_u_value_w_m2k,
                "conductivity_w_mk": known[job_id],
            }
            if job_id in known
            else None,
        )
        for job_id, one in zip(job_ids, evidence, strict=True)
    ]


def _judged_anew(ids: list[int]) -> list[tuple[int, str, str]]:
    before = dict(
        Assessment.objects.filter(job__in=ids).latest_per_job().values_list("job_id", "verdict")
    )
    found = []
    for job in ids:
        try:
            assessment = assess_if_due(job)
        except Refused as refusal:  # such as a nation left without a rule: one job stops no run
            log.warning("Job %s could not be judged anew: %s", job, refusal)
            continue
        if assessment is not None:
            found.append((job, before[job], assessment.verdict))
    return found
