"""What proof has to show in the demo: a proposed rule with its preview, and two waivers."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from compliance.models import DepthRule, Shortfall
from compliance.rule_runs import begin_preview, move_on
from compliance.waivers import answer_waiver, record_waiver
from deploy.demo.people import Cast

WAIVED = (
    "The ceiling over the offshoot carries no more wool, says the engineer's letter; an invented "
    "case."
)
WAITING = "The householder has boarded the middle of the loft since and will not lift it."


def make_proof(cast: Cast, now: datetime) -> None:
    """By the same functions as anybody's."""
    _waive(cast, now)
    _propose(cast, now)


def _waive(cast: Cast, now: datetime) -> None:
    """The two newest shortfalls: one waived by two people, one that waits for the second."""
    officer, second = cast.people["compliance"], cast.people["second"]
    newest = list(
        Shortfall.objects.open()
        .filter(call_back=None, waivers=None)
        .order_by("-flagged_at", "-pk")[:2]
    )
    for shortfall, reason in zip(newest, (WAITING, WAIVED), strict=False):
        at = max(shortfall.flagged_at, now - timedelta(hours=20))
        waiver = record_waiver(shortfall, reason, officer, at=at)
        if reason == WAIVED:
            answer_waiver(waiver, True, second, "I have read the letter.", at=at)


def _propose(cast: Cast, now: datetime) -> None:
    rule = DepthRule.objects.create(
        nation="wales",
        starts_on=date(now.year + 1, 4, 1),
        min_depth_mm=300,
        photos_at_points=True,
        source="Proposed by the scheme Warm Roofs Trial; an invented case",
        source_kind=DepthRule.SourceKind.COMMON_PRACTICE,
        proposed_by=cast.people["compliance"],
    )
    run = begin_preview(rule, cast.people["compliance"])
    while move_on(run.pk):
        pass
