"""The second person's approval of a rule: after reading what it would change, while that holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef
from django.utils import timezone

from compliance.models import Assessment, DepthRule, PreviewSeen, RuleRun
from compliance.rule_runs import PREVIEW_PIECE, jobs_of, previewed
from compliance.rules import may_approve, refuse_past, refuse_second_person
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import User

PREVIEW_HOLDS = timedelta(days=1)
"""So long at most what a preview found may be approved on."""
MOST_JUDGED_SINCE = 2000
"""So many are looked at again at the approval; beyond them the preview is to be worked out anew."""
COMMIT_LAG = timedelta(minutes=10)
"""A verdict is stamped before it commits, so a preview may have missed one of this age."""


@dataclass(frozen=True, slots=True)
class Since:
    """What became of jobs after a preview had begun.

    judged: open jobs with a newer verdict. otherwise: jobs for which the rule would change
    something else than the preview said. too_many: more were judged than are looked at again.
    """

    judged: int
    otherwise: int
    too_many: bool = False

    @property
    def holds(self) -> bool:
        """Whether what the preview said the rule would change is still so."""
        return not self.too_many and self.otherwise == 0


def approve_rule(
    rule: DepthRule, by: User, *, today: date | None = None, now: datetime | None = None
) -> DepthRule:
    """Bring a proposed rule into force from its day.

    A rule binds every company, so the second person is not of the proposer's own company, and has
    looked at what the rule would change among the jobs of today.

    Raises:
        Refused: `by` may not, or has not seen the preview, or the day has passed meanwhile.
        Conflict: it is approved already, or what it would change is no longer what was seen.
    """
    refuse_second_person(rule, by)
    refuse_past(rule, today or timezone.localdate())
    with refusals_explained():
        rule = DepthRule.objects.select_for_update().get(pk=rule.pk)
        if rule.approved_at is not None:
            raise Conflict("This rule is approved already.")
        _refuse_other_than_seen(preview_seen(rule, by, now or timezone.now()))
        rule.approved_by, rule.approved_at = by, timezone.now()
        rule.save(update_fields=["approved_by", "approved_at"])
    return rule


def note_preview_seen(run: RuleRun | None, by: User) -> None:
    """Remember that somebody who may approve had the whole preview before their eyes."""
    if run is None or run.kind != RuleRun.Kind.PREVIEW or run.ended_at is None:
        return
    if may_approve(run.rule, by):
        PreviewSeen.objects.get_or_create(run=run, person=by)


def preview_seen(rule: DepthRule, by: User, now: datetime) -> RuleRun | None:
    """The preview that this person saw within a day, if any."""
    return (
        RuleRun.objects.previews()
        .filter(rule=rule, ended_at__gte=now - PREVIEW_HOLDS, seen__person=by)
        .select_related("rule")
        .first()
    )


def changed_since(run: RuleRun) -> Since:
    """Compare what a preview found with the verdicts of now: those judged since are looked at."""
    newer = Assessment.objects.filter(job=OuterRef("pk"), made_at__gte=run.begun_at - COMMIT_LAG)
    judged = jobs_of(run).filter(Exists(newer)).values_list("pk", flat=True)
    ids = list(judged[: MOST_JUDGED_SINCE + 1])
    if len(ids) > MOST_JUDGED_SINCE:
        return Since(judged.count(), 0, too_many=True)
    said = {row.job_id: (row.before, row.after) for row in run.jobs.filter(job__in=ids)}  # type: ignore[attr-defined]
    otherwise = closed = run.jobs.changed().exclude(job__in=jobs_of(run)).count()  # type: ignore[attr-defined]
    for start in range(0, len(ids), PREVIEW_PIECE):
        for job, before, after in previewed(run.rule, ids[start : start + PREVIEW_PIECE]):
            otherwise += _effect(before, after) != _effect(*said.get(job, ("", "")))
    later = Assessment.objects.filter(job__in=ids, made_at__gte=run.begun_at)
    return Since(closed + later.values("job").distinct().count(), otherwise)


def _effect(before: str, after: str) -> tuple[str, str] | None:
    return (before, after) if before != after else None


def _refuse_other_than_seen(run: RuleRun | None) -> None:
    if run is None:
        raise Refused(
            "Whoever approves a rule has looked first at what it would change among the jobs "
            "of today.",
            remedy="Have it worked out on the rule's page, read what it says there, then approve. "
            "It counts for a day at most.",
        )
    since = changed_since(run)
    if not since.holds:
        raise Conflict(
            f"Since you looked, {since.judged} lofts were judged or certified, and what the rule "
            "would change is no longer what you saw.",
            remedy="Have it worked out again on the rule's page and read it anew.",
        )
