"""What the office wants most, in its own words, all in one unit: points.

One point is one minute of travel, so that "a visit left out costs 480" reads: the plan may drive
up to eight hours further in all to fit that visit in. The defaults are our own choice, without a
published source; an office changes them to its taste.
"""

from __future__ import annotations

from dataclasses import dataclass

from jobs.planning.plan_errors import require

PRIORITIES = (1, 2, 3, 4, 5)
MOST_POINTS = 1_000_000


@dataclass(frozen=True, slots=True)
class Weights:
    """Prices of what a plan does, in points (1 point = 1 minute of travel).

    `travel_hour`, `travel_km`: an hour, a kilometre of driving.
    `late_hour`: an hour between a visit's due time and its end, for priority 1; a visit of
    priority p pays p times as much.
    `overtime_hour`: an hour of a crew after its shift closes.
    `crew_day`: sending a crew out at all on a day.
    `left_out`: leaving a visit out, by priority 1 to 5 (5 is the most urgent).
    `promise_time`: a visit told to the householder starts elsewhere on the same day.
    `promise_day`: it moves to another day (instead of `promise_time`).
    `promise_crew`: another crew comes than was told (on top).
    `booked_share`: the share of those three for a visit that was booked but not yet told.
    `not_preferred`: a visit with preferred crews goes to another one.
    `promise_tolerance_s`: up to how many seconds off the promised start is not yet a move.
    """

    travel_hour: float = 60.0
    travel_km: float = 0.0
    late_hour: float = 2.0
    overtime_hour: float = 90.0
    crew_day: float = 0.0
    left_out: tuple[float, float, float, float, float] = (480.0, 720.0, 1080.0, 1620.0, 2430.0)
    promise_time: float = 60.0
    promise_day: float = 240.0
    promise_crew: float = 20.0
    booked_share: float = 0.1
    not_preferred: float = 30.0
    promise_tolerance_s: int = 1800

    def __post_init__(self) -> None:
        require(
            len(self.left_out) == len(PRIORITIES),
            "weights",
            "left_out",
            f"has {len(self.left_out)} values.",
            "Give one for each priority from 1 to 5.",
        )
        for name in self.__slots__:
            value = getattr(self, name)
            for number in value if isinstance(value, tuple) else (value,):
                require(
                    0 <= number <= MOST_POINTS,
                    "weights",
                    name,
                    f"is {number}.",
                    f"Give a number from 0 to {MOST_POINTS}.",
                )

    def leaving_out(self, priority: int) -> float:
        """Points for leaving out a visit of that priority (1 to 5)."""
        return self.left_out[priority - 1]
