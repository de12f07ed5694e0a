"""PyVRP's local search, step by step, with penalties for broken limits that are learned.

A step shakes some visits of the present routes and searches locally around them. Whether to go on
from what comes of it follows Burke and Bykov (2017), "The late acceptance Hill-Climbing heuristic",
European Journal of Operational Research 258(1), 70-78, doi 10.1016/j.ejor.2016.07.012: it must be
cheaper than the routes were so many steps ago. Before there were so many, it must be cheaper than
the first ones with something on top; without that, a search that begins from good routes would
never leave them.

Routes on the way may load or last too long, at a penalty a litre and a second. If penalties are
far too high, the search sees nothing but routes that keep every limit, and soon no better ones; so
they begin lower, move with how often limits are kept, and are handed on to the next search.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, fsum, log

from pyvrp import (
    CostEvaluator,
    ProblemData,
    RandomNumberGenerator,
    Solution,
)
from pyvrp.search import (
    OPERATORS,
    LocalSearch,
    NeighbourhoodParams,
    PerturbationManager,
    compute_neighbours,
)

HISTORY = 300
# Penalties at first, and a load's at least: what so many usual legs cost, for a usual load or a
# usual leg's length too much.
LEGS_AT_FIRST, LEAST_LEGS_A_LOAD = 200.0, 10.0
# So often do penalties change, if a limit was kept by less or more than those shares.
STEPS_BETWEEN_CHANGES = 100
LEAST_KEPT, MOST_KEPT = 0.6, 0.7
DEARER, CHEAPER = 1.5, 0.9
LEAST, MOST = 1e-4, 1e5


@dataclass(frozen=True, slots=True)
class Penalties:
    """What a litre and a second too much cost."""

    litre: float
    second: float

    def times(self, factor: float) -> Penalties:
        """The same in other units."""
        return Penalties(self.litre * factor, self.second * factor)

    @classmethod
    def between(cls, several: Sequence[Penalties]) -> Penalties:
        """The geometric mean of several."""
        litres = fsum(log(one.litre) for one in several)
        seconds = fsum(log(one.second) for one in several)
        return cls(exp(litres / len(several)), exp(seconds / len(several)))


STRICT = Penalties(5e4, 5e4)


@dataclass(frozen=True, slots=True)
class Manner:
    """How to search: `neighbours` near each visit that a move may join it with; `leeway`, by what
    share of its travel costs a plan may get dearer at first; `strict`: hardly ever by routes that
    break a limit; `penalties` as learned so far, in units, None if nothing was.
    """

    neighbours: int
    leeway: float = 0.0
    strict: bool = False
    penalties: Penalties | None = None


class _Keeper:
    """Penalties that move with how often the routes searched keep their limits."""

    def __init__(
        self, data: ProblemData, start: Solution, known: Penalties | None, *, strict: bool
    ) -> None:
        self.dimensions, self.strict = data.num_load_dimensions, strict
        legs = max(1, start.num_clients() + start.num_routes())
        leg = max(1.0, start.distance_cost() / legs)
        ways_s = max(1.0, sum(route.travel_duration() for route in start.routes()) / legs)
        loads = [client.delivery[0] for client in data.clients() if client.delivery]
        load = max(1.0, fsum(loads) / max(1, len(loads)))
        self.least = Penalties(LEAST_LEGS_A_LOAD * leg / load, LEAST)
        first = known or Penalties(LEGS_AT_FIRST * leg / load, LEGS_AT_FIRST * leg / ways_s)
        self._set(STRICT if strict else first)

    def note(self, routes: Solution) -> None:
        """Take note of routes that a step led to."""
        self._noted += 1
        self._light += not routes.has_excess_load()
        self._timely += not routes.has_time_warp()
        if self._noted == STEPS_BETWEEN_CHANGES and not self.strict:
            litre = _moved(self.penalties.litre, self._light, self.least.litre)
            second = _moved(self.penalties.second, self._timely, self.least.second)
            self._set(Penalties(litre, second))

    def _set(self, penalties: Penalties) -> None:
        self.penalties = penalties
        self.costs = CostEvaluator([penalties.litre] * self.dimensions, penalties.second, 1.0)
        self._noted = self._light = self._timely = 0


def _moved(penalty: float, kept: int, least: float) -> float:
    """The penalty after a limit was kept in so many of the last steps."""
    share = kept / STEPS_BETWEEN_CHANGES
    factor = DEARER if share < LEAST_KEPT else CHEAPER if share > MOST_KEPT else 1.0
    return min(MOST, max(least, penalty * factor))


class LateAcceptance:
    """One search from some routes on. `best`: the cheapest that keep every limit."""

    def __init__(
        self,
        data: ProblemData,
        start: Solution,
        seed: int,
        manner: Manner,
        penalties: Penalties | None,
    ) -> None:
        self.best, self.now = start, start
        self.chance = RandomNumberGenerator(seed=seed)
        near = compute_neighbours(data, NeighbourhoodParams(num_neighbours=manner.neighbours))
        self.local = LocalSearch(data, self.chance, near, PerturbationManager())
        for operator in OPERATORS:
            if operator.supports(data):
                self.local.add_operator(operator(data))
        self._keeper = _Keeper(data, start, penalties, strict=manner.strict)
        self._history: list[Solution | None] = [None] * HISTORY
        may_add = round(manner.leeway * start.distance_cost())
        self._at_first = self._keeper.costs.penalised_cost(start) + may_add

    @property
    def penalties(self) -> Penalties:
        """The penalties as they are now, in PyVRP's units."""
        return self._keeper.penalties

    def run(self, stop: Callable[[int], bool], on_best: Callable[[Solution], None]) -> None:
        """Search until `stop`, asked with the cost before each step; tell each better answer."""
        number = 0
        while not stop(self._keeper.costs.cost(self.best)):
            if self._step(number % HISTORY):
                on_best(self.best)
            number += 1

    def _step(self, place: int) -> bool:
        """One step; whether it found a better answer. `place`: that in the history."""
        costs = self._keeper.costs
        new = self.local(self.now, costs, exhaustive=False)
        self._keeper.note(new)
        better = costs.cost(new) < costs.cost(self.best)
        if better:
            self.best = new
            new = self.local(new, costs, exhaustive=True)
            if new.is_feasible():
                self.best = new
        late = self._history[place]
        late_cost = self._at_first if late is None else costs.penalised_cost(late)
        now_cost, new_cost = costs.penalised_cost(self.now), costs.penalised_cost(new)
        if new_cost < max(late_cost, now_cost):
            self.now, now_cost = new, new_cost
        if late is None or now_cost < late_cost:
            self._history[place] = self.now
        return better
