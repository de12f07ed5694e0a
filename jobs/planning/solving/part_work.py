"""Improving one part of a draft: the same whichever process does it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from jobs.planning.solving.draft import Draft
from jobs.planning.solving.late_acceptance import Penalties
from jobs.planning.solving.parts import Part, Within
from jobs.planning.solving.rerouting import route_again, route_part
from jobs.planning.solving.ruin import accepted, ruined_and_remade

RUINS_IN_A_ROW = 60


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """What became of a part: the items of each of its shifts that changed, the steps done, and
    the penalties that routing it at once came to."""

    rounds: dict[int, tuple[int, ...]]
    steps: int
    penalties: Penalties | None


class PartSearch:
    """The state that the ways of searching share: the best draft, chance, and when to stop.

    `asked` says whether to end before the part's steps are done; `shown` gets better drafts.
    """

    def __init__(
        self,
        draft: Draft,
        part: Part,
        asked: Callable[[], bool],
        shown: Callable[[Draft], None] | None = None,
    ) -> None:
        self.tables, self.part = draft.tables, part
        self.within = Within(draft.tables, part)
        self.chance = Random(part.seed)
        self.best = draft
        self.steps = 0
        self.penalties = part.penalties
        self._asked, self._shown = asked, shown

    def step(self) -> None:
        """Count one step."""
        self.steps += 1

    def stopped(self) -> bool:
        """Whether the steps are done, or somebody wants an end."""
        return self.steps >= self.part.steps or self._asked()

    def offer(self, draft: Draft) -> None:
        """Keep the draft if it is the best so far."""
        if draft.units < self.best.units:
            self.best = draft
            if self._shown is not None:
                self._shown(draft)


def worked(
    draft: Draft,
    part: Part,
    asked: Callable[[], bool],
    shown: Callable[[Draft], None] | None = None,
) -> PartAnswer:
    """Improve the part until its steps are done or `asked` says yes."""
    search = PartSearch(draft, part, asked, shown)
    while not search.stopped():
        if part.at_once:
            route_part(search)
        else:
            _one_round(search)
    changed = {
        shift: search.best.rounds[shift].items
        for shift in part.shifts
        if search.best.rounds[shift].items != draft.rounds[shift].items
    }
    return PartAnswer(changed, search.steps, search.penalties)


def _one_round(search: PartSearch) -> None:
    """Many small changes that know every rule, then one large one that knows routes."""
    now = search.best
    for _ in range(RUINS_IN_A_ROW):
        new = ruined_and_remade(now, search.chance, search.within)
        search.step()
        if accepted(now, new, search.chance):
            now = new
        search.offer(now)
        if search.stopped():
            return
    route_again(search)
