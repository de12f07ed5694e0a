"""How a draft is shared out, time after time, as the search goes on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

from jobs.planning.solving.draft import Draft
from jobs.planning.solving.late_acceptance import Penalties
from jobs.planning.solving.part_work import PartAnswer
from jobs.planning.solving.parts import Part, shared_out
from jobs.planning.solving.rerouting import routable_at_once
from jobs.planning.solving.tables import Tables

# Routing at once: from how many visits on it pays to cut, and steps of a part, which grow.
FEWEST_VISITS_TO_CUT = 250
VISITS_A_PART = 250
FIRST_STEPS, MOST_STEPS, GROWTH = 300, 3000, 1.12
WHOLE_STEPS_AT_FIRST, WHOLE_STEPS = 40, 4000
# The search that knows every rule.
FEWEST_VISITS_TO_HALVE = 100
MIXED_STEPS = 520
GAINLESS_ROUTINGS = 3


class Sharing:
    """Deals out parts: how many, where the seams run, by which way, with how many steps.

    The same for the same seed and `cores`, whatever the processes that work on them do.
    """

    def __init__(self, tables: Tables, seed: int, cores: int) -> None:
        self.tables, self.cores = tables, cores
        self.chance = Random(seed)
        self.visits = len(tables.problem.visits)
        self.routable = routable_at_once(tables)
        self.dealt = 0
        self.gainless = 0
        self.penalties: Penalties | None = None

    def note(self, answers: Sequence[PartAnswer], *, gained: bool) -> None:
        """What the parts dealt last came to, and whether they made the plan better."""
        self.gainless = 0 if gained else self.gainless + 1
        learned = [answer.penalties for answer in answers if answer.penalties is not None]
        if learned:
            self.penalties = Penalties.between(learned)

    def parts(self, draft: Draft, most_steps: int | None) -> list[Part]:
        """The next parts; all their steps together are `most_steps` at most."""
        at_once = self.routable and self.gainless % (GAINLESS_ROUTINGS + 1) < GAINLESS_ROUTINGS
        parts = self._at_once(draft) if at_once else self._mixed(draft)
        self.dealt += 1
        if most_steps is None:
            return parts
        share = -(-most_steps // len(parts))
        shares = [min(share, most_steps - share * number) for number in range(len(parts))]
        return [
            replace(part, steps=min(part.steps, steps))
            for part, steps in zip(parts, shares, strict=True)
            if steps > 0
        ]

    def _at_once(self, draft: Draft) -> list[Part]:
        if self.dealt == 0:
            # A few steps over everything: they go through all of its neighbourhoods as often as
            # they find something better, while the processes beside this one are still starting.
            return [self._whole(WHOLE_STEPS_AT_FIRST)]
        if self.visits < FEWEST_VISITS_TO_CUT:
            return [self._whole(WHOLE_STEPS) for _ in range(self.cores)]
        count = 2
        while self.visits > count * VISITS_A_PART:
            count *= 2
        steps = round(min(MOST_STEPS, FIRST_STEPS * GROWTH**self.dealt))
        parts = shared_out(draft, self.chance, count, by_place=True)
        return [replace(part, steps=steps, penalties=self.penalties) for part in parts]

    def _whole(self, steps: int) -> Part:
        shifts, visits = len(self.tables.shifts), len(self.tables.left_out_units)
        seed = self.chance.randrange(1 << 30)
        every = tuple(range(shifts)), tuple(range(visits))
        return Part(*every, seed, steps, at_once=True, penalties=self.penalties)

    def _mixed(self, draft: Draft) -> list[Part]:
        if self.visits < FEWEST_VISITS_TO_HALVE:
            return [replace(self._whole(MIXED_STEPS), at_once=False)]
        parts = shared_out(draft, self.chance, 2, by_place=False)
        return [replace(part, steps=MIXED_STEPS) for part in parts]
