from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from deploy.embedded.processes import (
    MARK_VARIABLE,
    ProcessRecord,
    end_all,
    is_running,
    left_overs,
    read_records,
    record_of,
    start_mark,
    write_records,
)

SLEEPER = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(300)"]


@pytest.fixture
def sleeper() -> Iterator[subprocess.Popen[str]]:
    """A process that does nothing, with the mark of a data folder."""
    process = subprocess.Popen(
        SLEEPER,
        env={**os.environ, MARK_VARIABLE: "the-mark-of-this-test"},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    process.stdout.readline()
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def recorded(process: subprocess.Popen[str]) -> ProcessRecord:
    record = record_of("sleeper", process.pid)
    assert record is not None
    return record


def test_a_process_has_one_start_mark(sleeper: subprocess.Popen[str]) -> None:
    assert start_mark(sleeper.pid) == start_mark(sleeper.pid)
    assert start_mark(sleeper.pid) != start_mark(os.getpid())


def test_an_ended_process_has_no_start_mark_even_before_it_is_reaped(
    sleeper: subprocess.Popen[str],
) -> None:
    record = recorded(sleeper)
    sleeper.kill()
    os.waitid(os.P_PID, sleeper.pid, os.WEXITED | os.WNOWAIT)
    assert start_mark(sleeper.pid) is None
    assert not is_running(record)


def test_a_stranger_with_a_recorded_number_is_left_alone(
    sleeper: subprocess.Popen[str],
) -> None:
    earlier = ProcessRecord("postgres", sleeper.pid, "another boot:12345")
    assert not is_running(earlier)
    assert end_all([earlier], signal.SIGKILL, 0.1) == []
    assert sleeper.poll() is None


def test_a_recorded_process_is_found_and_ended(
    sleeper: subprocess.Popen[str], tmp_path: Path
) -> None:
    file = tmp_path / "processes.json"
    write_records(file, [recorded(sleeper), ProcessRecord("gone", 1, "never")])
    found = left_overs(file, "no process has this mark")
    assert [record.pid for record in found] == [sleeper.pid]
    assert end_all(found, signal.SIGTERM, 5.0) == []
    assert sleeper.wait(timeout=10) == -signal.SIGTERM


def test_a_process_that_nobody_recorded_is_found_by_its_mark(
    sleeper: subprocess.Popen[str], tmp_path: Path
) -> None:
    found = left_overs(tmp_path / "missing.json", "the-mark-of-this-test")
    assert [record.pid for record in found] == [sleeper.pid]


def test_a_process_that_ignores_the_gentle_signal_is_killed() -> None:
    stubborn = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        "print(1, flush=True); time.sleep(300)"
    )
    process = subprocess.Popen([sys.executable, "-c", stubborn], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()
    assert end_all([recorded(process)], signal.SIGTERM, 0.2) == []
    assert process.wait(timeout=10) == -signal.SIGKILL
    process.stdout.close()


@pytest.mark.parametrize("text", ["", "[[1,", '{"a": 1}', '[["name", "no number", "mark"]]'])
def test_records_that_were_cut_off_count_as_none(tmp_path: Path, text: str) -> None:
    file = tmp_path / "processes.json"
    file.write_text(text)
    assert read_records(file) == []
