"""Keeps a set of programs running until it is told to stop.

Children die with the supervisor (the kernel sees to it on Linux), a child that ends is started
again after a pause that grows, and what an earlier run left behind is ended first.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Sequence
from types import FrameType

from deploy.embedded.children import Child, Program, end_of_log, stop_together
from deploy.embedded.console import StartUpError, say
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.processes import (
    ProcessRecord,
    end_all,
    left_overs,
    record_of,
    write_records,
)

GLANCE_S = 0.1


class StopRequested(Exception):
    """Ctrl-C, or a signal to end, while starting up."""


class Supervisor:
    """Starts programs in order, watches over them, and stops them in the reverse order."""

    def __init__(self, data: DataFolder) -> None:
        self.data = data
        self.children: list[Child] = []
        self.stop_signal: int | None = None

    def listen_for_signals(self) -> None:
        """Stop on Ctrl-C, on a request to end, and when the terminal goes away."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            # Whoever started this with nohup wants it to outlive the terminal.
            if number == signal.SIGHUP and signal.getsignal(number) is signal.SIG_IGN:
                continue
            signal.signal(number, self._ask_to_stop)

    def _ask_to_stop(self, number: int, frame: FrameType | None) -> None:
        self.stop_signal = number

    @property
    def stop_asked(self) -> bool:
        return self.stop_signal is not None

    def end_left_overs(self) -> list[ProcessRecord]:
        """End processes that an earlier run left behind; return them.

        Raises:
            StartUpError: one can't be ended, being another user's.
        """
        found = left_overs(self.data.records, self.data.mark())
        # The database gets to close its files; nothing else has anything to lose.
        servers = [record for record in found if record.name == "postgres"]
        others = [record for record in found if record.name != "postgres"]
        stuck = end_all(others, signal.SIGKILL, 5.0) + end_all(servers, signal.SIGINT, 15.0)
        if stuck:
            numbers = ", ".join(str(record.pid) for record in stuck)
            raise StartUpError(
                f"Processes of an earlier run can't be ended: {numbers}. "
                "They may be another user's; end them, or start as that user."
            )
        return found

    def start(self, program: Program) -> Child:
        """Start a program and watch over it from now on."""
        child = Child(program)
        child.start()
        self.children.append(child)
        self._note_processes()
        return child

    def wait_for(self, child: Child, problem: Callable[[], str], patience_s: float) -> None:
        """Wait until `problem` has nothing to say about a child.

        Raises:
            StartUpError: the child ended, or `patience_s` seconds are over.
            StopRequested: the person asked to stop meanwhile.
        """
        deadline = time.monotonic() + patience_s
        while trouble := problem():
            code = child.ended()
            if code is not None or time.monotonic() > deadline:
                log = child.program.log
                why = f"ended with {code}" if code is not None else f"isn't ready: {trouble}"
                raise StartUpError(
                    f"{child.program.name} {why}\nThe end of {log}:\n{end_of_log(log)}"
                )
            self.raise_if_stopped()
            time.sleep(GLANCE_S / 2)

    def run_to_end(self, child: Child) -> int:
        """Wait for a program that ends by itself; return its exit code.

        Raises:
            StopRequested: the person asked to stop meanwhile; the program is stopped.
        """
        while (code := child.ended()) is None:
            self.raise_if_stopped()
            time.sleep(GLANCE_S / 2)
        return code

    def raise_if_stopped(self) -> None:
        if self.stop_asked:
            raise StopRequested

    def watch(self) -> None:
        """Start what ends again, until asked to stop."""
        while not self.stop_asked:
            self.look_after_children(time.monotonic())
            time.sleep(GLANCE_S)

    def look_after_children(self, now: float) -> None:
        """One round: plan a restart of each child that has ended, and start those that are due."""
        for child in self.children:
            if child.due is not None:
                if now >= child.due:
                    child.start()
                    self._note_processes()
                    say(f"  {clock()} {child.program.name} runs again")
                continue
            code = child.ended()
            if code is not None:
                child.kill_group()
                pause_s = child.plan_restart(now)
                say(
                    f"  {clock()} {child.program.name} ended ({in_words(code)}); "
                    f"starting it again in {pause_s:g} s. Its log: {child.program.log}"
                )

    def stop(self, order: Sequence[Sequence[str]]) -> None:
        """Stop children by name, group after group; names that don't run are passed over."""
        for names in order:
            stop_together([child for child in self.children if child.program.name in names])
        self.children = []
        self._note_processes()

    def _note_processes(self) -> None:
        own = record_of("supervisor", os.getpid())
        records = [child.record for child in self.children if child.record is not None]
        write_records(self.data.records, [*([own] if own else []), *records])


def clock() -> str:
    """The time of day, for lines that appear later."""
    return time.strftime("%H:%M:%S")


def in_words(code: int) -> str:
    """An exit code, or the name of the signal that ended a process."""
    if code >= 0:
        return f"exit code {code}"
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"signal {-code}"
