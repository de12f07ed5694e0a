"""The phone's clock: told, corrected by how far it was off, shown with its source.

A phone says what its clock shows when it makes a record (`phone_at`) and again when it sends it
(`phone_sent_at`). The second against our own clock tells how far the phone is off; the first is
corrected by that. A phone whose clock was changed between making and sending a record is found out
where the record would then have been made after it arrived: it counts as made when it arrived, and
says so. A clock that was put forward in between can't be told from a record that waited longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from django.utils import timezone

PLAUSIBLE_DELAY = timedelta(seconds=30)
"""A small record is on its way so long at most [common practice, no published source]."""

SAME_MOMENT = timedelta(seconds=5)
NO_TIME = timedelta(0)
CLOCK_CHANGED = (
    "The phone's clock was changed between making and sending this: it would lie after its own "
    "arrival, and counts as made when it arrived."
)

Source = Literal["phone clock", "EXIF", "our clock"]


def phone_ahead(sent_at: datetime, received_at: datetime) -> timedelta:
    """How far the phone's clock is ahead of ours; negative when it is behind.

    A record that seems to have been on its way for up to PLAUSIBLE_DELAY says nothing against
    the clock: that may be the network.
    """
    seems = sent_at - received_at
    return NO_TIME if -PLAUSIBLE_DELAY <= seems <= NO_TIME else seems


def clock_columns(
    phone_sent_at: datetime | None,
    received_at: datetime | None = None,
    phone_at: datetime | None = None,
) -> dict[str, Any]:
    """The columns of a `ByPhoneClock` record. received_at: when we were told `phone_sent_at`.

    phone_at: the phone's clock when the record was made. Nothing is made after it arrived, so the
    phone was then ahead of us by what lies between at least.
    """
    if phone_sent_at is None:
        return {}
    arrived = received_at or timezone.now()
    ahead = phone_ahead(phone_sent_at, arrived)
    if phone_at is not None:
        ahead = max(ahead, phone_at - arrived)
    return {"phone_sent_at": phone_sent_at, "phone_ahead": ahead}


def corrected(phone_at: datetime, columns: dict[str, Any]) -> datetime:
    """`phone_at` by our clock, as the database works out `corrected_at`."""
    ahead: timedelta = columns.get("phone_ahead") or NO_TIME
    return phone_at - ahead


@dataclass(frozen=True, slots=True)
class ToldTime:
    """A time with where it comes from. at: by our clock; said: as the source gave it."""

    at: datetime
    source: Source
    said: datetime
    ahead: timedelta = NO_TIME
    checked: bool = True
    doubt: str = ""

    @property
    def words(self) -> str:
        """The source in words: “phone clock 7 min ahead, corrected”."""
        if self.source == "phone clock" and not self.checked:
            return "phone clock, not compared with ours"
        if self.ahead == NO_TIME:
            return self.source
        side = "ahead" if self.ahead > NO_TIME else "behind"
        return f"{self.source} {span_words(abs(self.ahead))} {side}, corrected"


def told_time(record: Any, field: str) -> ToldTime:
    """The time `field` of a `ByPhoneClock` record, corrected and with its source."""
    said: datetime = getattr(record, field)
    sent: datetime | None = record.phone_sent_at
    if sent is None:
        if abs(record.received_at - said) <= SAME_MOMENT:
            return ToldTime(said, "our clock", said)
        return ToldTime(said, "phone clock", said, checked=False)
    ahead = record.phone_ahead or NO_TIME
    if said <= sent + SAME_MOMENT:
        return ToldTime(said - ahead, "phone clock", said, ahead)
    at = min(said - ahead, record.received_at)
    return ToldTime(at, "phone clock", said, ahead, doubt=CLOCK_CHANGED)


def span_words(length: timedelta) -> str:
    """A stretch of time in its largest unit: 40 s, 7 min, 3 h, 12 days."""
    seconds = length.total_seconds()
    if seconds < 60:
        return f"{seconds:.0f} s"
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    if seconds < 172_800:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds / 86_400:.0f} days"
