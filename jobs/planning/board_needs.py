"""What is still to be planned, as the board lists it: what it asks for, why it is not placed."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet
from django.utils import timezone

from jobs.models import AgreedWindow, PlanRun, ProposedVisit, User, VisitNeed
from jobs.planning.booking import SKILL_NEEDED

SHOWN_AT_ONCE = 60


@dataclass(frozen=True, slots=True)
class WhyNot:
    """A constraint that kept a visit out of the last plan, and what would let it in."""

    words: str
    would_help: str = ""


@dataclass(frozen=True, slots=True)
class Waiting:
    """One visit that waits. `hours` is of its next day of work."""

    need: VisitNeed
    part: int
    windows: tuple[AgreedWindow, ...]
    reasons: tuple[WhyNot, ...]
    is_late: bool

    @property
    def parts(self) -> int:
        return len(self.need.part_hours)

    @property
    def hours(self) -> float:
        return self.need.part_hours[self.part - 1]

    @property
    def minutes(self) -> int:
        return round(self.hours * 60)

    @property
    def skills(self) -> frozenset[str]:
        """All that somebody of the crew must be able to do."""
        needed = SKILL_NEEDED.get(self.need.kind)
        return frozenset(self.need.skills) | ({needed.value} if needed else frozenset())


@dataclass(frozen=True, slots=True)
class WaitingList:
    shown: tuple[Waiting, ...]
    total: int

    @property
    def more(self) -> int:
        return self.total - len(self.shown)


def waiting_needs(needs: QuerySet[VisitNeed], user: User) -> WaitingList:
    """The first needs of a narrowed list, with agreed times and reasons. Five queries."""
    today = timezone.localdate()
    total = needs.count()
    found = list(needs.prefetch_related("windows", "visits")[:SHOWN_AT_ONCE])
    reasons = _reasons(user, [need.pk for need in found])
    return WaitingList(tuple(_waiting(need, reasons, today) for need in found), total)


def waiting_stamp(user: User) -> str:
    """Changes whenever anything that waits does."""
    rows = VisitNeed.objects.visible_to(user).open().order_by("pk").values_list("pk", "version")
    latest = PlanRun.objects.visible_to(user).values_list("pk", "state").first()
    return hashlib.sha256(f"{list(rows)}{latest}".encode()).hexdigest()[:12]


def _waiting(need: VisitNeed, reasons: dict[int, list[WhyNot]], today: date) -> Waiting:
    live = {visit.part for visit in need.visits.all() if visit.status != "cancelled"}
    parts = range(1, len(need.part_hours) + 1)
    part = next((part for part in parts if part not in live), len(need.part_hours))
    return Waiting(
        need,
        part,
        tuple(need.windows.all()),
        tuple(reasons.get(need.pk, ())),
        need.due_on is not None and need.due_on < today,
    )


def _reasons(user: User, need_ids: Iterable[int]) -> dict[int, list[WhyNot]]:
    """Why the company's latest finished run left each of these out."""
    latest = (
        PlanRun.objects.visible_to(user)
        .filter(state__in=(PlanRun.State.READY, PlanRun.State.ANSWERED))
        .order_by("-pk")
        .values("pk")[:1]
    )
    left = ProposedVisit.objects.filter(
        run__in=latest, change=ProposedVisit.Change.LEFT, need__in=list(need_ids)
    )
    found: dict[int, list[WhyNot]] = defaultdict(list)
    for need_id, reasons in left.values_list("need_id", "reasons"):
        for reason in reasons:
            found[need_id].append(WhyNot(reason.get("words", ""), reason.get("would_help", "")))
    return found
