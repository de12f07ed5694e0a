"""The office's prices: what new plans of a company are weighed by, until the office says else.

They are told in minutes of driving, so that one thing can be held against another: an hour of
overtime that costs as much as 90 minutes of driving is worked if it saves more driving than that.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields

from django.db.models import QuerySet

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Company, OfficePrices, PlanRun, User
from jobs.models.office_prices import DEAREST_MIN
from jobs.planning.spelling import spell_minutes
from jobs.planning.weights import Weights

# `Weights.late_hour` is of priority 1; the office thinks of a usual visit and of whole days.
USUAL_PRIORITY, HOURS_A_DAY = 3, 24
LEFT_OUT = tuple(f"left_out_{priority}_min" for priority in range(1, 6))
USUAL = Weights()

WORDS: dict[str, str] = {
    "late_day_min": "A usual visit a day after its due date",
    "overtime_hour_min": "An hour of overtime",
    "crew_day_min": "Sending a crew out on a day at all",
    "left_out_1_min": "Leaving out a visit that can wait (priority 1)",
    "left_out_2_min": "Leaving out a visit of priority 2",
    "left_out_3_min": "Leaving out a usual visit (priority 3)",
    "left_out_4_min": "Leaving out a visit of priority 4",
    "left_out_5_min": "Leaving out a visit that comes first (priority 5)",
    "other_time_min": "Moving a promised visit within its day",
    "other_day_min": "Moving a promised visit to another day",
    "other_crew_min": "Besides, sending another crew than was promised",
    "not_preferred_min": "Sending another crew than the preferred one",
    "booked_percent": "Moving a visit that is booked and not promised costs of that",
}


@dataclass(frozen=True, slots=True)
class Prices:
    """One set of prices [min of driving], as `OfficePrices` keeps them. Usual unless given."""

    late_day_min: float = USUAL.late_hour * HOURS_A_DAY * USUAL_PRIORITY
    overtime_hour_min: float = USUAL.overtime_hour
    crew_day_min: float = USUAL.crew_day
    left_out_1_min: float = USUAL.left_out[0]
    left_out_2_min: float = USUAL.left_out[1]
    left_out_3_min: float = USUAL.left_out[2]
    left_out_4_min: float = USUAL.left_out[3]
    left_out_5_min: float = USUAL.left_out[4]
    other_time_min: float = USUAL.promise_time
    other_day_min: float = USUAL.promise_day
    other_crew_min: float = USUAL.promise_crew
    not_preferred_min: float = USUAL.not_preferred
    booked_percent: float = USUAL.booked_share * 100

    def __post_init__(self) -> None:
        for field in fields(self):
            value, most = getattr(self, field.name), DEAREST_MIN
            if field.name == "booked_percent":
                most = 100
            if not 0 <= value <= most:
                raise Refused(
                    f"{value:g} is no price.", field=field.name, remedy=f"Give 0 to {most:,}."
                )
        for less, more in zip(LEFT_OUT, LEFT_OUT[1:], strict=False):
            if getattr(self, more) < getattr(self, less):
                raise Refused(
                    "A more urgent visit would cost less to leave out than the one before.",
                    field=more,
                    remedy=f"Give {getattr(self, less):g} or more.",
                )

    @classmethod
    def of(cls, row: OfficePrices | None) -> Prices:
        """As they were set; the usual ones where nobody set any."""
        if row is None:
            return cls()
        return cls(**{field.name: getattr(row, field.name) for field in fields(cls)})

    @property
    def weights(self) -> Weights:
        """What the solver weighs by: 1 point is 1 minute of driving."""
        return Weights(
            late_hour=self.late_day_min / HOURS_A_DAY / USUAL_PRIORITY,
            overtime_hour=self.overtime_hour_min,
            crew_day=self.crew_day_min,
            left_out=(
                self.left_out_1_min,
                self.left_out_2_min,
                self.left_out_3_min,
                self.left_out_4_min,
                self.left_out_5_min,
            ),
            promise_time=self.other_time_min,
            promise_day=self.other_day_min,
            promise_crew=self.other_crew_min,
            booked_share=self.booked_percent / 100,
            not_preferred=self.not_preferred_min,
        )


def prices_in_force(company: Company) -> OfficePrices | None:
    """What new plans begin with; None while the office has set nothing: then the usual prices."""
    return OfficePrices.objects.filter(company=company).order_by("-number").first()


def weights_of(company: Company) -> Weights:
    """The prices in force as weights. One query."""
    return Prices.of(prices_in_force(company)).weights


def weights_of_run(run: PlanRun) -> Weights:
    """The prices a run was asked for with, whatever the office has set since."""
    return Prices.of(run.prices).weights


def set_prices(
    company: Company, prices: Prices, *, by: User, note: str = "", follows: int | None = None
) -> OfficePrices:
    """Let new plans begin with these prices; runs that are asked for already keep theirs.

    `follows`: the number of the prices that were looked at (0: the usual ones), None for whichever
    are in force.

    Raises:
        Refused: nothing would change. Conflict: somebody else has set others meanwhile.
    """
    with refusals_explained():
        last = prices_in_force(company)
        number = last.number if last else 0
        if follows is not None and follows != number:
            raise Conflict(
                f"{last.set_by if last else 'Nobody'} changed the prices meanwhile.",
                field="follows",
                remedy="Look at theirs first, then change what still applies.",
            )
        if prices == Prices.of(last):
            raise Refused("Nothing would change.", remedy="Change a price, or leave them.")
        return OfficePrices.objects.create(
            company=company,
            number=number + 1,
            note=note.strip()[:200],
            set_by=by,
            **asdict(prices),
        )


# --- What was set when


@dataclass(frozen=True, slots=True)
class PriceChange:
    """One entry of the history: the prices, and what was other before, in sentences."""

    row: OfficePrices
    changes: tuple[str, ...]


def history_of_prices(rows: QuerySet[OfficePrices]) -> list[PriceChange]:
    """What was changed, newest first; the first is told beside the usual prices. One query."""
    found: list[PriceChange] = []
    before = Prices()
    for row in rows.select_related("set_by").order_by("number"):
        now = Prices.of(row)
        found.append(PriceChange(row, tuple(_changes(before, now))))
        before = now
    return found[::-1]


def _changes(before: Prices, now: Prices) -> list[str]:
    return [
        f"{words}: {spell_price(name, getattr(before, name))} → "
        f"{spell_price(name, getattr(now, name))}"
        for name, words in WORDS.items()
        if getattr(before, name) != getattr(now, name)
    ]


def spell_price(name: str, value: float) -> str:
    """Such as “90 min”, “18 h 00 min”; a share as “10 %”."""
    return f"{value:g} %" if name == "booked_percent" else spell_minutes(value)
