"""Telling processes of ours from strangers, and ending them.

A process number alone proves nothing: after a crash it may belong to somebody else's process. A
process is ours only if its start mark is the recorded one too, or if it carries the mark of this
data folder in its environment.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import psutil

from deploy.embedded.private_files import write_private

# In the environment of every process started for a data folder; the value is the folder's own.
MARK_VARIABLE = "EAVESBOOK_RUN_MARK"


@dataclass(frozen=True)
class ProcessRecord:
    """A process, and the moment it began by the kernel's clock, which no other process shares."""

    name: str
    pid: int
    start_mark: str


def start_mark(pid: int) -> str | None:
    """When a process began, in a form only good for comparing; None if there is no such process.

    On Linux it is the boot's id and the clock ticks since that boot (field 22 of /proc/PID/stat,
    proc(5)), which setting the clock doesn't change.
    """
    if sys.platform != "linux":
        with contextlib.suppress(psutil.Error):
            return str(psutil.Process(pid).create_time())
        return None
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return None
    # The second field is the program's name in brackets and may hold blanks and brackets itself.
    fields = stat.rpartition(")")[2].split()
    state, ticks = fields[0], fields[19]
    return None if state == "Z" else f"{boot}:{ticks}"


def record_of(name: str, pid: int) -> ProcessRecord | None:
    """The record of a running process; None if it has ended."""
    mark = start_mark(pid)
    return None if mark is None else ProcessRecord(name, pid, mark)


def is_running(record: ProcessRecord) -> bool:
    """Whether the very process that was recorded still runs."""
    return start_mark(record.pid) == record.start_mark


def write_records(file: Path, records: Iterable[ProcessRecord]) -> None:
    """Note which processes run, for whoever comes after a crash."""
    rows = [[record.name, record.pid, record.start_mark] for record in records]
    write_private(file, json.dumps(rows))


def read_records(file: Path) -> list[ProcessRecord]:
    """What was noted last; nothing if the file is missing or was cut off."""
    try:
        rows = json.loads(file.read_text(encoding="utf-8"))
        return [ProcessRecord(str(name), int(pid), str(mark)) for name, pid, mark in rows]
    except (OSError, ValueError, TypeError):
        return []


def marked_processes(mark: str) -> list[ProcessRecord]:
    """Running processes that carry a data folder's mark, this one and its parents left out."""
    own = {os.getpid(), *(parent.pid for parent in psutil.Process().parents())}
    found = []
    for process in psutil.process_iter():
        if process.pid in own:
            continue
        with contextlib.suppress(psutil.Error, OSError):
            if process.environ().get(MARK_VARIABLE) == mark:
                record = record_of(process.name(), process.pid)
                if record is not None:
                    found.append(record)
    return found


def left_overs(file: Path, mark: str) -> list[ProcessRecord]:
    """Processes of an earlier run on the same data folder that outlived it."""
    found = {record.pid: record for record in marked_processes(mark)}
    for record in read_records(file):
        if record.pid != os.getpid() and is_running(record):
            found[record.pid] = record
    return list(found.values())


def end_all(records: list[ProcessRecord], gentle: int, patience_s: float) -> list[ProcessRecord]:
    """Signal processes with `gentle`, and kill those still there after `patience_s` seconds.

    Returns those that can't be ended, being another user's.
    """
    for record in records:
        send(record, gentle)
    left = wait_until_ended(records, patience_s)
    for record in left:
        send(record, signal.SIGKILL)
    return wait_until_ended(left, 5.0)


def send(record: ProcessRecord, number: int) -> None:
    """Signal the recorded process, and no other that has its number now."""
    if is_running(record):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.kill(record.pid, number)


def wait_until_ended(records: list[ProcessRecord], patience_s: float) -> list[ProcessRecord]:
    """Wait for processes to end; return those that still run after `patience_s` seconds."""
    deadline = time.monotonic() + patience_s
    left = [record for record in records if is_running(record)]
    while left and time.monotonic() < deadline:
        time.sleep(0.02)
        left = [record for record in left if is_running(record)]
    return left
