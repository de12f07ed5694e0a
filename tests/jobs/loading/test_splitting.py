"""Splitting a day's rolls into loads of the van."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.loading.splitting import ToCarry, split_into_trips

VAN_M3 = 4.0
M3 = {"W170": 0.5, "N100": 0.25}


def carry(key: int, **rolls: int) -> ToCarry:
    return ToCarry(key, rolls, M3)


def shown(*visits: ToCarry, van_m3: float | None = VAN_M3) -> list[list[tuple[int, dict]]]:
    return [
        [(key, dict(rolls)) for key, rolls in trip.parts]
        for trip in split_into_trips(visits, van_m3)
    ]


def test_what_fits_is_one_load():
    assert shown(carry(1, W170=4), carry(2, W170=4)) == [[(1, {"W170": 4}), (2, {"W170": 4})]]


def test_a_visit_that_does_not_fit_beside_the_others_waits_for_the_next_load():
    assert shown(carry(1, W170=5), carry(2, W170=4), carry(3, N100=2)) == [
        [(1, {"W170": 5})],
        [(2, {"W170": 4}), (3, {"N100": 2})],
    ]


def test_a_visit_larger_than_the_van_fills_the_room_left_and_comes_over_several_trips():
    assert shown(carry(1, W170=6), carry(2, W170=11)) == [
        [(1, {"W170": 6}), (2, {"W170": 2})],
        [(2, {"W170": 8})],
        [(2, {"W170": 1})],
    ]


def test_without_a_van_everything_is_one_load():
    assert shown(carry(1, W170=60), carry(2, W170=60), van_m3=None) == [
        [(1, {"W170": 60}), (2, {"W170": 60})]
    ]


def test_a_roll_larger_than_the_van_goes_alone():
    assert shown(carry(1, W170=2), van_m3=0.3) == [[(1, {"W170": 1})], [(1, {"W170": 1})]]


days = st.lists(
    st.fixed_dictionaries({"W170": st.integers(0, 30), "N100": st.integers(0, 30)}), max_size=6
)


@settings(max_examples=200, deadline=None)
@given(days, st.floats(0.5, 12.0))
def test_nothing_is_lost_no_load_exceeds_the_van_and_the_order_of_visits_stays(rolls, van_m3):
    visits = [ToCarry(n, {k: v for k, v in day.items() if v}, M3) for n, day in enumerate(rolls)]

    trips = split_into_trips(visits, van_m3)

    carried: dict[tuple[int, str], int] = {}
    for trip in trips:
        assert trip.volume_m3 <= van_m3 + 1e-6
        assert sum(n * M3[c] for _, r in trip.parts for c, n in r.items()) <= van_m3 + 1e-6
        for key, part in trip.parts:
            for code, count in part.items():
                carried[key, code] = carried.get((key, code), 0) + count
    assert carried == {(v.key, c): n for v in visits for c, n in v.rolls.items()}
    order = [key for trip in trips for key, _ in trip.parts]
    assert order == sorted(order)
    for visit in visits:
        if visit.volume_m3 <= van_m3:
            assert sum(visit.key == key for key in order) == 1
