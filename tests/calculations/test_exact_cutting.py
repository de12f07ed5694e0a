"""Bounds and plans against brute force on small cases: every cut from edge to edge is tried."""

from __future__ import annotations

import random
from collections.abc import Sequence
from functools import cache
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calculations.cutting import best_packing
from calculations.exact_cutting import try_rolls
from calculations.packing import ALL_HABITS, LEAST_MM, Item, Packing, finish, pack
from calculations.pattern_plan import begin_by_patterns
from calculations.roll_bound import roll_lower_bound, stepped

WIDTH_UNIT, LENGTH_UNIT = 95, 400
WIDE, LONG = 12, 10
"""A roll of 12 x 95 mm by 10 x 400 mm, so that every cut may be tried on a grid."""


def least_rolls_by_brute_force(sizes: Sequence[tuple[int, int]]) -> int:
    """Fewest rolls for whole rectangles [grid units] when every cut goes from edge to edge."""

    @cache
    def fits(items: tuple[tuple[int, int], ...], width: int, length: int) -> bool:
        if sum(w * n for w, n in items) > width * length:
            return False
        if len(items) == 1:
            return items[0][0] <= width and items[0][1] <= length
        for low, high in _ways_to_part(items):
            for cut in range(1, width):
                if fits(low, cut, length) and fits(high, width - cut, length):
                    return True
            for cut in range(1, length):
                if fits(low, width, cut) and fits(high, width, length - cut):
                    return True
        return False

    @cache
    def least(items: tuple[tuple[int, int], ...]) -> int:
        if not items:
            return 0
        first, rest = items[0], items[1:]
        best = len(items)
        for size in range(len(rest) + 1):
            for chosen in combinations(range(len(rest)), size):
                together = tuple(sorted([first, *(rest[i] for i in chosen)]))
                if fits(together, WIDE, LONG):
                    others = tuple(r for i, r in enumerate(rest) if i not in chosen)
                    best = min(best, 1 + least(others))
        return best

    return least(tuple(sorted(sizes)))


def _ways_to_part(
    items: tuple[tuple[int, int], ...],
) -> list[tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]]:
    ways = []
    for mask in range(1, 2 ** (len(items)) - 1):
        low = tuple(item for i, item in enumerate(items) if mask >> i & 1)
        high = tuple(item for i, item in enumerate(items) if not mask >> i & 1)
        ways.append((low, high))
    return ways


def whole_items(sizes: Sequence[tuple[int, int]]) -> list[Item]:
    return [
        Item(i, float(w * WIDTH_UNIT), n * LENGTH_UNIT, joinable=False)
        for i, (w, n) in enumerate(sizes)
    ]


def random_sizes(seed: int) -> list[tuple[int, int]]:
    rng = random.Random(f"sizes {seed}")
    widths = rng.sample(range(2, WIDE + 1), 3)
    return [(rng.choice(widths), rng.randint(2, LONG)) for _ in range(rng.randint(3, 6))]


@pytest.mark.parametrize("seed", range(60))
def test_whole_pieces_against_brute_force(seed: int) -> None:
    sizes = random_sizes(seed)
    truth = least_rolls_by_brute_force(sizes)
    items = whole_items(sizes)
    roll = (WIDE * WIDTH_UNIT, LONG * LENGTH_UNIT)
    assert roll_lower_bound(items, *roll) <= truth
    packing, bound = best_packing(items, *roll, 0.5)
    assert bound <= truth <= packing.rolls
    if packing.rolls == bound:
        assert packing.rolls == truth


def test_brute_force_cases_are_mostly_proved() -> None:
    proved = 0
    for seed in range(60):
        items = whole_items(random_sizes(seed))
        packing, bound = best_packing(items, WIDE * WIDTH_UNIT, LONG * LENGTH_UNIT, 0.5)
        proved += packing.rolls == bound
    assert proved >= 54


@pytest.mark.parametrize("seed", range(60))
def test_exact_search_agrees_with_brute_force(seed: int) -> None:
    sizes = random_sizes(seed)
    truth = least_rolls_by_brute_force(sizes)
    roll = (float(WIDE * WIDTH_UNIT), LONG * LENGTH_UNIT)
    fewer = try_rolls(whole_items(sizes), *roll, truth - 1, 2.0)
    assert fewer.packing is None
    enough = try_rolls(whole_items(sizes), *roll, truth, 2.0)
    assert not enough.impossible


def least_rolls_joined(lengths: Sequence[int], roll: int, least: int) -> int:
    """Fewest rolls, one lane each, when lengths may be joined from parts of `least` or more.

    Lengths in whole units; parts in whole units are enough, since with the places of the joints
    fixed the parts solve a transport problem, whose corners are whole.
    """

    @cache
    def possible(rest: tuple[int, ...], rolls: int) -> bool:
        if not any(rest):
            return True
        if rolls == 0 or sum(rest) > rolls * roll:
            return False
        return any(
            possible(tuple(sorted(n - p for n, p in zip(rest, parts, strict=True))), rolls - 1)
            for parts in _parts(rest, roll, least)
        )

    rolls = 0
    while not possible(tuple(sorted(lengths)), rolls):
        rolls += 1
    return rolls


def _parts(rest: tuple[int, ...], room: int, least: int) -> list[tuple[int, ...]]:
    if not rest:
        return [()]
    choices = [0, *(p for p in range(1, rest[0] + 1) if p == rest[0] or p >= least)]
    return [
        (part, *others)
        for part in choices
        if part <= room and (rest[0] == part or rest[0] - part >= least)
        for others in _parts(rest[1:], room - part, least)
    ]


@pytest.mark.parametrize("seed", range(40))
def test_joined_pieces_against_brute_force(seed: int) -> None:
    rng = random.Random(f"joined {seed}")
    lengths = [rng.randint(6, 14) for _ in range(3)]
    roll = 10
    truth = least_rolls_joined(lengths, roll, 3)
    items = [Item(i, 1140.0, n * LEAST_MM // 3, joinable=True) for i, n in enumerate(lengths)]
    packing, bound = best_packing(items, 1140.0, roll * LEAST_MM // 3, 0.5)
    assert bound <= truth <= packing.rolls
    if packing.rolls == bound:
        assert truth == bound
    if truth > 1:
        assert try_rolls(items, 1140.0, roll * LEAST_MM // 3, truth - 1, 1.0).packing is None
    assert not try_rolls(items, 1140.0, roll * LEAST_MM // 3, truth, 1.0).impossible


@given(
    shares=st.lists(st.fractions(0, 1), min_size=1, max_size=6).filter(lambda s: sum(s) <= 1),
    k=st.integers(1, 8),
)
def test_stepped_function_is_dual_feasible(shares: list[object], k: int) -> None:
    worth = stepped(k)
    assert sum(worth(float(share)) for share in shares) <= 1 + 1e-9  # type: ignore[arg-type]


ITEMS = st.lists(
    st.builds(
        lambda width, length, joinable: (width, length, joinable and length >= 2 * LEAST_MM),
        st.integers(60, 1140),
        st.integers(150, 5000),
        st.booleans(),
    ),
    min_size=1,
    max_size=14,
)


@settings(max_examples=60, deadline=None)
@given(drawn=ITEMS, habits=st.sampled_from(ALL_HABITS))
def test_every_habit_cuts_everything_and_respects_the_bound(
    drawn: list[tuple[int, int, bool]], habits: object
) -> None:
    items = [Item(i, float(w), n, joinable) for i, (w, n, joinable) in enumerate(drawn)]
    packing = pack(items, 1140.0, 5000, habits)  # type: ignore[arg-type]
    assert packing.rolls >= roll_lower_bound(items, 1140.0, 5000)
    assert_sound(items, packing)


def assert_sound(items: Sequence[Item], packing: Packing, length_mm: int = 5000) -> None:
    """Everything is cut in full, in parts that follow each other, and no two cuts overlap."""
    for item in items:
        mine = sorted((c.start_mm, c.length_mm) for c in packing.cuts if c.item == item.number)
        assert sum(length for _, length in mine) == item.length_mm
        assert [start for start, _ in mine] == [
            sum(length for _, length in mine[:i]) for i in range(len(mine))
        ]
        assert len(mine) == 1 or (item.joinable and min(n for _, n in mine) >= LEAST_MM)
    by_roll: dict[int, list[tuple[float, float, int, int]]] = {}
    for cut in packing.cuts:
        assert -1e-6 <= cut.x_mm and cut.x_mm + cut.width_mm <= 1140.0 + 0.02
        assert 0 <= cut.y_mm and cut.y_mm + cut.length_mm <= length_mm
        for left, right, low, high in by_roll.setdefault(cut.roll, []):
            beside = cut.x_mm >= right - 0.02 or cut.x_mm + cut.width_mm <= left + 0.02
            behind = cut.y_mm >= high or cut.y_mm + cut.length_mm <= low
            assert beside or behind
        by_roll[cut.roll].append(
            (cut.x_mm, cut.x_mm + cut.width_mm, cut.y_mm, cut.y_mm + cut.length_mm)
        )


def test_impossible_items_are_refused() -> None:
    with pytest.raises(ValueError, match="wider than the roll"):
        pack([Item(0, 1200.0, 500, joinable=True)], 1140.0, 5000, ALL_HABITS[0])
    with pytest.raises(ValueError, match="may not be joined"):
        pack([Item(0, 300.0, 5500, joinable=False)], 1140.0, 5000, ALL_HABITS[0])


@settings(max_examples=40, deadline=None)
@given(drawn=ITEMS, habits=st.sampled_from(ALL_HABITS), stretches=st.booleans())
def test_plans_begun_by_patterns_cut_everything(
    drawn: list[tuple[int, int, bool]], habits: object, stretches: bool
) -> None:
    items = [Item(i, float(w), n, joinable) for i, (w, n, joinable) in enumerate(drawn)]
    begun = begin_by_patterns(items, 1140.0, 5000, stretches=stretches)
    assert_sound(items, finish(begun, 1140.0, 5000, habits))  # type: ignore[arg-type]


def test_patterns_lay_three_widths_side_by_side() -> None:
    """413 + 2 x 359 mm fill 1131 of 1140 mm; two lanes of 413 alone would waste more than a roll.

    359 mm: one length of 10 m; 413 mm: twelve of 10.078 m and four short ones. By hand 8.98 rolls.
    """
    lengths = [10_078] * 12 + [2572, 3163, 6349, 6533]
    items = [Item(0, 359.2, 10_078, joinable=True)]
    items += [Item(i, 413.0, length, joinable=True) for i, length in enumerate(lengths, start=1)]
    assert roll_lower_bound(items, 1140.0, 8050) == 9
    packing, bound = best_packing(items, 1140.0, 8050, 0)
    assert (packing.rolls, bound) == (9, 9)
    assert_sound(items, packing, 8050)


@pytest.mark.parametrize("width_mm", [1104.996, 1104.999_999, 379.999_999_999, 380.000_000_001])
def test_a_width_a_hair_below_a_millimetre_is_one_width_everywhere(width_mm: float) -> None:
    items = [Item(i, width_mm, 3000, joinable=True) for i in range(4)]
    begun = begin_by_patterns(items, 1140.0, 5000, stretches=True)
    assert_sound(items, finish(begun, 1140.0, 5000, ALL_HABITS[0]))
