"""Sharing the work on a plan's parts with processes beside this one, each on its own processor.

They are programs of their own (`side.py`) rather than forks, since a worker of a task queue may
not fork and holds connections that must not be shared. What a part becomes does not depend on who
improves it, so a process that dies costs time and nothing else: its part is done by another.
"""

from __future__ import annotations

import logging
import select
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType

from jobs.planning.problem import PlanProblem
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.part_work import PartAnswer, worked
from jobs.planning.solving.parts import Part
from jobs.planning.solving.side_messages import (
    Begin,
    Cease,
    Done,
    Ended,
    Ready,
    receive,
    send,
    write_problem,
)

log = logging.getLogger(__name__)

PROJECT_FOLDER = Path(__file__).resolve().parents[3]
STEPS_BETWEEN_LOOKS = 8
LOOK_S = 0.02
# How long processes that were told to end their part may take to answer [s].
CEASING_S = 0.5
SENDING_S = 5.0


class Side:
    """One process beside this one, and the line to it.

    `ready`: it has read the problem; `part`: the number of the part it is at, None if none;
    `round_`: the round whose draft it has.
    """

    def __init__(self, problem: PlanProblem) -> None:
        ours, theirs = socket.socketpair()
        with theirs, tempfile.TemporaryFile() as file:
            write_problem(problem, file)
            file.seek(0)
            number = theirs.fileno()
            try:
                self.process = subprocess.Popen(
                    [sys.executable, "-m", "jobs.planning.solving.side", str(number)],
                    cwd=PROJECT_FOLDER,
                    stdin=file,
                    stdout=subprocess.DEVNULL,
                    pass_fds=(number,),
                )
            except OSError:
                ours.close()
                raise
        ours.settimeout(SENDING_S)
        self.channel = ours
        self.ready = False
        self.part: int | None = None
        self.round_ = 0

    def fileno(self) -> int:
        """For `select`."""
        return self.channel.fileno()

    def end(self) -> None:
        """End the process, whatever it is doing."""
        self.channel.close()
        self.process.kill()
        self.process.wait()


class Sides:
    """`with Sides(problem, 1) as sides:` and `sides.work(...)` as often as wanted.

    `lost`: how many processes could not be started or died. `evened_s`: what the work on parts
    would have taken if each process had had a processor for itself, less the processor seconds
    that this process spent on it; on a machine that is shared, some get less done than others.
    """

    def __init__(self, problem: PlanProblem, count: int) -> None:
        self.problem, self.count = problem, count
        self.sides: list[Side] = []
        self.lost = 0
        self.evened_s = 0.0
        self._round = 0

    def __enter__(self) -> Sides:
        for _ in range(self.count):
            try:
                self.sides.append(Side(self.problem))
            except OSError as error:
                log.warning("No process could be started beside the planner's: %s", error)
                self.lost += 1
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for side in self.sides:
            side.end()
        self.sides = []

    def work(
        self,
        draft: Draft,
        parts: Sequence[Part],
        asked: Callable[[], bool],
        shown: Callable[[Draft], None] | None = None,
    ) -> list[PartAnswer]:
        """What becomes of each part, in order; parts not begun when `asked` says yes are missing.

        This process does its share; `shown` gets the better drafts that come of that.
        """
        self._round += 1
        work = _Round(self, self._round, draft, parts, asked)
        while not work.over and (number := work.next_part()) is not None:
            work.do(number, shown)
        work.wait()
        at_work = 1 + sum(side.ready for side in self.sides)
        took_s = [work.took_s[number] for number in sorted(work.took_s)]
        self.evened_s += _evened_out(took_s, at_work) - work.here_s
        return [work.answers[number] for number in sorted(work.answers)]

    def drop(self, side: Side) -> None:
        """Go on without a process that is gone."""
        log.warning("A process beside the planner's ended; the search goes on without it")
        side.end()
        self.sides.remove(side)
        self.lost += 1


def _evened_out(parts_s: Sequence[float], processes: int) -> float:
    """Seconds until all is done, if whoever is free takes the next part."""
    free_s = [0.0] * processes
    for part_s in parts_s:
        first = free_s.index(min(free_s))
        free_s[first] += part_s
    return max(free_s)


class _Round:
    """One sharing of a draft's parts between all processes."""

    def __init__(
        self,
        sides: Sides,
        number: int,
        draft: Draft,
        parts: Sequence[Part],
        asked: Callable[[], bool],
    ) -> None:
        self.sides, self.number, self.draft, self.parts = sides, number, draft, parts
        self.asked = asked
        self.waiting = list(range(len(parts)))
        self.answers: dict[int, PartAnswer] = {}
        self.took_s: dict[int, float] = {}
        self.here_s = 0.0
        self.over = False
        self.looks = 0
        self._packed = draft.packed()
        self._hand_out()

    def next_part(self) -> int | None:
        """The next part for this process, None if none waits."""
        self._hear(0.0)
        return self.waiting.pop(0) if self.waiting else None

    def do(self, number: int, shown: Callable[[Draft], None] | None = None) -> None:
        """Improve a part here."""
        begun_s = time.process_time()
        self.answers[number] = worked(self.draft, self.parts[number], self.look, shown)
        self.took_s[number] = time.process_time() - begun_s
        self.here_s += self.took_s[number]

    def look(self) -> bool:
        """Asked after each step of this process: hear the others, hand out; whether to end."""
        self.looks += 1
        if self.sides.sides and self.looks % STEPS_BETWEEN_LOOKS == 0:
            self._hear(0.0)
        self.over = self.over or self.asked()
        return self.over

    def wait(self) -> None:
        """Until every part is answered; when it is to end, a moment for what is under way."""
        while not self.over and (self._busy() or self.waiting):
            if not self._busy():
                # Whoever had these parts died.
                self.do(self.waiting.pop(0))
                continue
            self._hear(LOOK_S)
            self.over = self.asked()
        if not self.over:
            return
        for side in self._busy():
            self._tell(side, Cease())
        until_s = time.monotonic() + CEASING_S
        self.waiting = []
        while self._busy() and time.monotonic() < until_s:
            self._hear(LOOK_S)

    def _busy(self) -> list[Side]:
        return [side for side in self.sides.sides if side.part is not None]

    def _hear(self, patience_s: float) -> None:
        """Take in what the others say, and give the idle ones work."""
        if not self.sides.sides:
            return
        for side in select.select(self.sides.sides, [], [], patience_s)[0]:
            try:
                message = receive(side.channel)
            except Ended:
                self._lose(side)
                continue
            if isinstance(message, Ready):
                side.ready = True
            elif isinstance(message, Done) and side.part is not None:
                self.answers[side.part] = message.answer
                self.took_s[side.part] = message.took_s
                side.part = None
        self._hand_out()

    def _hand_out(self) -> None:
        for side in [side for side in self.sides.sides if side.ready and side.part is None]:
            if not self.waiting:
                return
            side.part = self.waiting.pop(0)
            fresh = None if side.round_ == self.number else self._packed
            side.round_ = self.number
            self._tell(side, Begin(self.parts[side.part], fresh))

    def _tell(self, side: Side, message: Begin | Cease) -> None:
        try:
            send(side.channel, message)
        except Ended:
            self._lose(side)

    def _lose(self, side: Side) -> None:
        if side.part is not None:
            self.waiting.insert(0, side.part)
        self.sides.drop(side)
