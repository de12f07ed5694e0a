"""What comes with a record from a phone, apart from what the record is about."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any
from uuid import UUID, uuid4

from django.utils import timezone

from jobs.errors import Refused
from jobs.evidence.clock import clock_columns, corrected


@dataclass(frozen=True)
class Told:
    """phone_at: the phone's clock when the record was made; ours where it told none.

    phone_sent_at: the phone's clock when it was sent. received_at: when it reached us.
    """

    phone_at: datetime
    phone_sent_at: datetime | None = None
    client_key: UUID = field(default_factory=uuid4)
    received_at: datetime = field(default_factory=timezone.now)

    @cached_property
    def columns(self) -> dict[str, Any]:
        """The columns of every record that came like this."""
        return {
            **clock_columns(self.phone_sent_at, self.received_at, self.phone_at),
            "received_at": self.received_at,
            "client_key": self.client_key,
        }

    @property
    def at(self) -> datetime:
        """When it was made, by our clock."""
        return corrected(self.phone_at, self.columns)


@dataclass(frozen=True, slots=True)
class Position:
    """Where the phone says it is [degrees, metres]; kept only when `agreed`."""

    agreed: bool = False
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    accuracy_m: float | None = None

    @property
    def columns(self) -> dict[str, Any]:
        """The columns of a `WithPosition` record; empty without consent or without a place.

        Raises:
            Refused: the place is not on the Earth.
        """
        if not self.agreed or self.latitude_deg is None or self.longitude_deg is None:
            return {"position_agreed": self.agreed}
        if not (-90 <= self.latitude_deg <= 90 and -180 <= self.longitude_deg <= 180):
            raise Refused(
                "This position is not on the Earth.",
                field="latitude_deg",
                remedy="Leave the position out.",
            )
        return {
            "position_agreed": True,
            "latitude_deg": self.latitude_deg,
            "longitude_deg": self.longitude_deg,
            "position_accuracy_m": self.accuracy_m,
        }


NOWHERE = Position()


def required_words(words: str, field_name: str, most: int, message: str, remedy: str) -> str:
    """The words without blanks round them.

    Raises:
        Refused: there are none, or too many.
    """
    words = words.strip()
    if not words:
        raise Refused(message, field=field_name, remedy=remedy)
    return fitting_words(words, field_name, most)


def fitting_words(words: str, field_name: str, most: int) -> str:
    words = words.strip()
    if len(words) > most:
        raise Refused(
            f"It has {len(words)} characters.", field=field_name, remedy=f"Use {most} at most."
        )
    return words
