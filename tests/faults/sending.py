"""Several phones at once, and what is to be true of their photos in the end."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Event

from tests.faults.comparing import compare_photos
from tests.faults.phones import Phone, Sent
from tests.faults.stack import Stack
from tests.pictures import loft_jpeg

PHONES = 5
PATIENCE_S = 240.0


@dataclass
class Sending:
    stack: Stack
    phones: list[Phone]
    finish: Event

    @property
    def photos(self) -> list[Sent]:
        return [photo for phone in self.phones for photo in phone.photos]

    @property
    def resumed(self) -> int:
        return sum(phone.resumed for phone in self.phones)

    def under_way(self) -> list[Sent]:
        return [phone.photos[-1] for phone in self.phones if not phone.photos[-1].told]

    def finish_and_compare(self, patience_s: float = PATIENCE_S) -> None:
        """Raises AssertionError for whatever is not as the phones were told."""
        self.finish.set()
        deadline = time.monotonic() + patience_s
        for phone in self.phones:
            phone.thread.join(max(0.0, deadline - time.monotonic()))
        wrong = [wrong for phone in self.phones for wrong in phone.wrong]
        assert not wrong, f"a phone was told something wrong: {wrong}"
        assert not any(phone.thread.is_alive() for phone in self.phones), "a phone still sends"
        compare_photos(self.stack, self.photos)


@contextmanager
def phones_sending(
    stack: Stack, seed: int, phones: int = PHONES, again: float = 0.25
) -> Iterator[Sending]:
    finish = Event()
    picture = loft_jpeg(1)
    sending = Sending(
        stack,
        [
            Phone(seeded, stack.port, seed + number, picture, finish, again=again)
            for number, seeded in enumerate(
                stack.told_by("tests.faults.seeding", "uploads", str(phones))
            )
        ],
        finish,
    )
    for phone in sending.phones:
        phone.thread.start()
    try:
        yield sending
    finally:
        finish.set()
