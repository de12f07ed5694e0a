"""Killing whoever is at work, at a random moment of what it is at."""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.stack import BEAT, DATABASE, POWER, Stack

PATIENCE_S = 1.5
"""Nobody begins anything for so long: then it is killed at rest."""
AT_REST = "at rest"
GAP = "gap"
"""What a server that was broken on purpose says when it has just broken its word."""
LONG_S = 60.0
ANY_TIME = (DATABASE, POWER, BEAT)
"""Killed while anyone is at work."""


@dataclass
class Events:
    """Lines `PID WHAT` that the processes write when they begin something."""

    path: Path
    read_to: int = 0

    def new(self) -> list[tuple[int, str]]:
        with self.path.open("rb") as file:
            file.seek(self.read_to)
            whole, _, _ = file.read().rpartition(b"\n")
        self.read_to += len(whole) + 1 if whole else 0
        lines = [line.split(maxsplit=1) for line in whole.decode().splitlines()]
        return [(int(pid), what) for pid, what in lines]


@dataclass
class Killer:
    """kills: how many of each process, or of DATABASE and POWER.

    Each is killed up to longest_s after the first, or up to the most_begun-th, thing it begins.
    """

    stack: Stack
    kills: Mapping[str, int]
    seed: int
    longest_s: float
    most_begun: int = 1
    killed: Counter[str] = field(default_factory=Counter)
    during: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        self.events = Events(self.stack.watch / "events.log")
        self.events.path.touch()

    def kill_all(self) -> None:
        """Kill in random order whoever begins something, and start it again."""
        order = [name for name, times in self.kills.items() for _ in range(times)]
        self.chance.shuffle(order)
        while order:
            number, what = self.next_to_begin(order)
            self.kill(order.pop(number), what)

    def so_far(self) -> float:
        """The share of the killing that is done."""
        return self.killed.total() / sum(self.kills.values())

    def next_to_begin(self, order: list[str]) -> tuple[int, str]:
        """The first of the order whose process begins something now, and what; else the first."""
        self.events.new()
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            for pid, what in self.events.new():
                for number, name in enumerate(order):
                    if name in ANY_TIME or pid == self.stack.pids[name]:
                        return number, what
            time.sleep(0.002)
        return 0, AT_REST

    def kill(self, name: str, what: str) -> None:
        """Kill what has just begun `what`, or a few things later."""
        for _ in range(self.chance.randint(1, self.most_begun) - 1):
            what = self.wait_for_a_beginning(name)
        time.sleep(self.chance.uniform(0, self.longest_s))
        self.stack.kill(name)
        self.killed[name.partition("-")[0]] += 1
        self.during[what] += 1
        self.stack.start_again(name)

    def wait_for_a_beginning(self, name: str) -> str:
        """What the process, or for the database anyone, begins next."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            for pid, what in self.events.new():
                if name in ANY_TIME or pid == self.stack.pids[name]:
                    return what
            time.sleep(0.002)
        return AT_REST

    def kill_in_the_gap(self, everything: bool = False) -> None:
        """Kill a broken process, or cut the power, as soon as its word is broken."""
        deadline = time.monotonic() + LONG_S
        broken: list[int] = []
        while not broken:
            assert time.monotonic() < deadline, "nothing was broken"
            running = self.stack.pids.values()  # the log tells of earlier tests' processes too
            broken = [pid for pid, what in self.events.new() if what == GAP and pid in running]
            time.sleep(0.005)
        names = [name for name, pid in self.stack.pids.items() if pid in broken]
        for name in [POWER] if everything else names:
            self.stack.kill(name)
            self.stack.start_again(name)
