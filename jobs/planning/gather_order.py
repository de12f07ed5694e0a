"""Which visit of a planning problem must follow which: one need after another, day after day."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from jobs.models import VisitNeed
from jobs.planning.plan import Reason
from jobs.planning.problem import After

if TYPE_CHECKING:
    from jobs.planning.gather_visits import Collector

LIVE = ("booked", "on_site", "done")


def put_in_order(found: Collector) -> None:
    """Give each visit what it must follow. A need that waits for what cannot be planned is taken
    out with its reason; a booked visit stays, since it keeps its crew from going elsewhere."""
    for key in list(found.visits):
        need = _need_of(found, key)
        if need is not None and not found.visits[key].fixed:
            _put_behind(found, key, need)
    _drop_waiting_for_nothing(found)


def _need_of(found: Collector, key: str) -> VisitNeed | None:
    return found.needs.get(key) or (found.booked[key].need if key in found.booked else None)


def _put_behind(found: Collector, key: str, need: VisitNeed) -> None:
    befores = list(_earlier_days(found, key, need))
    if need.after_id is not None:
        gap_s = round(need.after_gap_hours * 3600)
        known = found.keys_of_need[need.after_id]
        befores += [After(before, gap_s) for before in known]
        reason = None if known else _wait_outside(found, key, need, gap_s)
        if reason is not None and key in found.needs:
            found.take_out(key, reason)
            return
    if befores:
        found.visits[key] = replace(found.visits[key], after=tuple(befores))


def _earlier_days(found: Collector, key: str, need: VisitNeed) -> Iterator[After]:
    """Earlier days' work of the same need comes before later ones."""
    part = found.booked[key].part if key in found.booked else math.inf
    for other in found.keys_of_need[need.pk]:
        if other != key and other in found.booked and found.booked[other].part < part:
            yield After(other)


def _wait_outside(found: Collector, key: str, need: VisitNeed, gap_s: int) -> Reason | None:
    """What it must follow is not in the problem: why it cannot be planned, or from when it can."""
    before = need.after
    if before is None or before.state in ("done", "withdrawn"):
        return None
    ends = [visit.during.upper for visit in before.visits.all() if visit.status in LIVE]
    if before.state == "open" or not ends:
        words = f"It must follow the {before.get_kind_display().lower()}, which is not planned."
        return Reason("waits_for_other", words, "Plan that visit first.")
    last_s = found.frame.seconds(max(ends)) + gap_s
    if last_s >= found.frame.seconds(found.frame.ends_at):
        words = "What it must follow is booked after the days that are planned."
        return Reason("waits_for_other", words, "Plan more days.")
    earliest_s = max(found.visits[key].earliest_s, last_s)
    found.visits[key] = replace(found.visits[key], earliest_s=earliest_s)
    return None


def _drop_waiting_for_nothing(found: Collector) -> None:
    """Whoever must follow a need that was taken out cannot be planned either."""
    reason = Reason(
        "waits_for_other", "What it must follow cannot be planned.", "Plan that visit first."
    )
    again = True
    while again:
        again = False
        for key, visit in list(found.visits.items()):
            known = tuple(before for before in visit.after if before.key in found.visits)
            if len(known) == len(visit.after):
                continue
            if key in found.needs:
                found.take_out(key, reason)
                again = True
            else:
                found.visits[key] = replace(visit, after=known)
