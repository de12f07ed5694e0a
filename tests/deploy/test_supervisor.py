from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Iterator

import pytest

from deploy.embedded.children import Program
from deploy.embedded.console import StartUpError
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.processes import MARK_VARIABLE, read_records
from deploy.embedded.supervisor import StopRequested, Supervisor, in_words
from tests.deploy.conftest import wait_until


@pytest.fixture
def supervisor(data: DataFolder) -> Iterator[Supervisor]:
    supervisor = Supervisor(data)
    yield supervisor
    supervisor.stop([["sleeper", "short"]])


def sleeper(data: DataFolder, seconds: int = 300, name: str = "sleeper") -> Program:
    return Program(
        name=name,
        command=[sys.executable, "-c", f"import time; time.sleep({seconds})"],
        environment={MARK_VARIABLE: data.mark()},
        folder=data.path,
        log=data.logs / "sleeper.log",
    )


def test_a_killed_child_runs_again(
    supervisor: Supervisor, data: DataFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    child = supervisor.start(sleeper(data))
    assert child.process is not None
    first = child.process.pid
    child.process.kill()
    child.process.wait()

    now = time.monotonic()
    supervisor.look_after_children(now)
    assert child.due is not None
    supervisor.look_after_children(child.due - 0.01)
    assert child.process.pid == first
    supervisor.look_after_children(child.due)

    assert child.process.pid != first
    assert child.ended() is None
    assert child.process.pid in {record.pid for record in read_records(data.records)}
    said = capsys.readouterr().out
    assert "sleeper ended (SIGKILL)" in said
    assert "sleeper runs again" in said


def test_what_an_earlier_supervisor_left_is_ended(supervisor: Supervisor, data: DataFolder) -> None:
    child = supervisor.start(sleeper(data))
    later = Supervisor(data)
    found = later.end_left_overs()
    assert child.process is not None
    assert child.process.pid in {record.pid for record in found}
    assert child.process.wait(timeout=10) == -signal.SIGKILL
    assert os.getpid() not in {record.pid for record in found}


def test_waiting_for_a_child_that_ends_shows_the_end_of_its_log(
    supervisor: Supervisor, data: DataFolder
) -> None:
    program = sleeper(data, 0, "short")
    program.log.write_text("out of paper\n")
    child = supervisor.start(program)
    with pytest.raises(StartUpError, match=r"short ended with 0[\s\S]*out of paper"):
        supervisor.wait_for(child, lambda: "not yet", 30)


def test_waiting_ends_when_the_person_asks_to_stop(
    supervisor: Supervisor, data: DataFolder
) -> None:
    child = supervisor.start(sleeper(data))
    supervisor.stop_signal = signal.SIGINT
    with pytest.raises(StopRequested):
        supervisor.wait_for(child, lambda: "not yet", 30)


def test_stopping_ends_every_child_and_its_record(supervisor: Supervisor, data: DataFolder) -> None:
    child = supervisor.start(sleeper(data))
    supervisor.stop([["sleeper"]])
    assert child.ended() is not None
    assert [record.name for record in read_records(data.records)] == ["supervisor"]
    wait_until(lambda: supervisor.children)


@pytest.mark.parametrize(
    ("code", "words"), [(0, "exit code 0"), (1, "exit code 1"), (-9, "SIGKILL"), (-99, "signal 99")]
)
def test_exit_codes_in_words(code: int, words: str) -> None:
    assert in_words(code) == words
