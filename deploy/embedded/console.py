"""What the person at the terminal sees: one line a step, with its time."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

TITLE_WIDTH = 44


class StartUpError(Exception):
    """Something stands in the way of a start; the message says what, and what helps."""


@dataclass
class Step:
    """A step under way. `note` is shown behind its time."""

    title: str
    note: str = ""
    started: float = field(default_factory=time.monotonic)
    line_is_open: bool = True

    def tell(self, line: str) -> None:
        """Show a line of detail below the step's title."""
        if self.line_is_open:
            print(flush=True)
            self.line_is_open = False
        print(f"      {line}", flush=True)


@contextlib.contextmanager
def step(title: str) -> Iterator[Step]:
    """Show a title, let the work happen, then show how many seconds it took."""
    print(f"  {title:<{TITLE_WIDTH}}", end="", flush=True)
    current = Step(title)
    try:
        yield current
    except BaseException:
        print("failed" if current.line_is_open else f"  {title}: failed", flush=True)
        raise
    if not current.line_is_open:
        print(f"  {'':<{TITLE_WIDTH}}", end="")
    seconds = time.monotonic() - current.started
    print(f"{seconds:6.1f} s  {current.note}".rstrip(), flush=True)


def say(line: str = "") -> None:
    """Show a line."""
    print(line, flush=True)


def complain(message: str) -> None:
    """Show what went wrong, on the error stream."""
    print(f"\n{message}", file=sys.stderr, flush=True)
