"""A process that the supervisor starts, watches and stops."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from deploy.embedded.identity import PRESENT_USER, Identity, launch_command
from deploy.embedded.processes import ProcessRecord, record_of

LOG_LIMIT_BYTES = 10_000_000
FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
# A process that ran this long had started well; its next end is a new trouble.
SETTLED_S = 60.0


@dataclass(frozen=True)
class Program:
    """What to run, and how to end it.

    `stop_signals` are sent in turn, each with the seconds to wait before the next; SIGKILL is the
    last. `death_signal` is what the kernel sends should the supervisor vanish. `inherited` are open
    file descriptors to keep. With `to_terminal` it prints to the person, not to the log.
    """

    name: str
    command: Sequence[str]
    environment: Mapping[str, str]
    folder: Path
    log: Path
    identity: Identity = PRESENT_USER
    stop_signals: Sequence[tuple[int, float]] = ((signal.SIGTERM, 5.0),)
    death_signal: int = signal.SIGKILL
    inherited: Sequence[int] = ()
    to_terminal: bool = False


@dataclass
class Child:
    """A program, and the process it runs as at the moment."""

    program: Program
    process: subprocess.Popen[bytes] | None = None
    record: ProcessRecord | None = None
    started: float = 0.0
    pause_s: float = FIRST_PAUSE_S
    due: float | None = field(default=None)

    def start(self) -> None:
        """Start the process. What it prints is appended to its log."""
        program = self.program
        settings = program.identity.settings(os.getpid(), program.death_signal)
        turn_log(program.log)
        with program.log.open("ab") as log_stream:
            log = None if program.to_terminal else log_stream
            self.process = subprocess.Popen(
                launch_command(settings, list(program.command)),
                env=dict(program.environment),
                cwd=program.folder,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                pass_fds=tuple(program.inherited),
            )
        self.started = time.monotonic()
        self.record = record_of(program.name, self.process.pid)
        self.due = None

    def ended(self) -> int | None:
        """The exit code of a process that has ended, None while it runs or was never started."""
        return None if self.process is None else self.process.poll()

    def plan_restart(self, now: float) -> float:
        """Decide when to start again after an end; return the pause in seconds.

        Each end soon after a start doubles the pause, up to half a minute.
        """
        if now - self.started >= SETTLED_S:
            self.pause_s = FIRST_PAUSE_S
        pause_s = self.pause_s
        self.pause_s = min(self.pause_s * 2, LONGEST_PAUSE_S)
        self.due = now + pause_s
        return pause_s

    def kill_group(self) -> None:
        """End whatever the process left behind in its session."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, signal.SIGKILL)

    def signal(self, number: int) -> None:
        """Signal the process if it runs."""
        if self.process is not None and self.process.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                self.process.send_signal(number)


def stop_together(children: Sequence[Child]) -> None:
    """Stop children side by side, each by its own signals, and return when all have ended."""
    started = time.monotonic()
    plans = {id(child): list(child.program.stop_signals) for child in children}
    waits = {id(child): started for child in children}
    alive = [child for child in children if child.process is not None and child.ended() is None]
    running = alive
    while running:
        now = time.monotonic()
        for child in running:
            if now < waits[id(child)]:
                continue
            plan = plans[id(child)]
            number, patience_s = plan.pop(0) if plan else (signal.SIGKILL, 5.0)
            child.signal(number)
            waits[id(child)] = now + patience_s
        time.sleep(0.02)
        running = [child for child in running if child.ended() is None]
    # Only now: the number of a process that ended long ago may be a stranger's.
    for child in alive:
        child.kill_group()


def turn_log(log: Path) -> None:
    """Put a log that has grown large aside; the one before it is dropped."""
    with contextlib.suppress(FileNotFoundError):
        if log.stat().st_size > LOG_LIMIT_BYTES:
            log.replace(log.with_name(f"{log.name}.1"))


def end_of_log(log: Path, lines: int = 12) -> str:
    """The last lines of a log, for an error message."""
    with contextlib.suppress(OSError):
        text = log.read_text(encoding="utf-8", errors="replace")
        return "\n".join(text.splitlines()[-lines:])
    return ""
