from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from deploy.embedded.children import (
    FIRST_PAUSE_S,
    LOG_LIMIT_BYTES,
    LONGEST_PAUSE_S,
    SETTLED_S,
    Child,
    Program,
    end_of_log,
    stop_together,
    turn_log,
)
from deploy.embedded.processes import is_running, record_of
from tests.deploy.conftest import wait_until

# Starts a child of its own, tells its number, and waits.
PARENT = """
import sys, time
from pathlib import Path
from deploy.embedded.children import Child, Program
child = Child(Program("sleep", ["/bin/sleep", "300"], {}, Path("/"), Path(sys.argv[1])))
child.start()
print(child.process.pid, flush=True)
time.sleep(300)
"""


def program(tmp_path: Path, *command: str) -> Program:
    return Program(
        name="trial",
        command=command,
        environment={"PATH": os.environ["PATH"]},
        folder=tmp_path,
        log=tmp_path / "trial.log",
        stop_signals=((signal.SIGTERM, 0.2),),
    )


def test_a_child_dies_with_its_parent(tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, str(tmp_path / "log")], stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    record = record_of("sleep", int(parent.stdout.readline()))
    assert record is not None
    parent.kill()
    parent.wait()
    parent.stdout.close()
    wait_until(lambda: is_running(record))


def test_what_a_child_prints_is_added_to_its_log(
    tmp_path: Path, start_child: Callable[[Program], Child]
) -> None:
    for _ in range(2):
        child = start_child(program(tmp_path, "/bin/echo", "hello"))
        assert child.process is not None
        assert child.process.wait(timeout=10) == 0
    assert (tmp_path / "trial.log").read_text() == "hello\nhello\n"


def test_a_program_that_is_missing_ends_at_once_and_its_log_says_why(
    tmp_path: Path, start_child: Callable[[Program], Child]
) -> None:
    child = start_child(program(tmp_path, "/nowhere/program"))
    assert child.process is not None
    assert child.process.wait(timeout=10) != 0
    assert "/nowhere/program can't be started" in end_of_log(tmp_path / "trial.log")


def test_stopping_ends_a_child_that_ignores_its_signal_and_what_it_started(
    tmp_path: Path, start_child: Callable[[Program], Child]
) -> None:
    script = "trap '' TERM; sleep 300 & echo $!; wait; wait"
    child = start_child(program(tmp_path, "/bin/sh", "-c", script))
    log = tmp_path / "trial.log"
    wait_until(lambda: not log.exists() or not log.read_text().strip())
    grandchild = record_of("sleep", int(log.read_text()))
    assert grandchild is not None
    stop_together([child])
    assert child.ended() == -signal.SIGKILL
    wait_until(lambda: is_running(grandchild))


def test_pauses_between_restarts_grow_to_a_limit_and_start_small_again(tmp_path: Path) -> None:
    child = Child(program(tmp_path, "/bin/true"), started=0.0)
    pauses = [child.plan_restart(1.0) for _ in range(10)]
    assert pauses[:4] == [0.5, 1.0, 2.0, 4.0]
    assert pauses[-1] == LONGEST_PAUSE_S
    assert child.plan_restart(SETTLED_S) == FIRST_PAUSE_S


@pytest.mark.parametrize(
    ("size", "turned"), [(LOG_LIMIT_BYTES, False), (LOG_LIMIT_BYTES + 1, True)]
)
def test_a_large_log_is_put_aside(tmp_path: Path, size: int, turned: bool) -> None:
    log = tmp_path / "web.log"
    with log.open("wb") as stream:
        stream.truncate(size)
    turn_log(log)
    assert (tmp_path / "web.log.1").exists() is turned
