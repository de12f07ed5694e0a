"""The whole of `deploy/up`, killed and started again, with its database and queue as they were.

Its database has its tables before the first start: every run of the tests migrates an empty one
(tests/migrated.py), by the function that a first start calls, and once is enough.
"""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest

from deploy.embedded.children import Child, stop_together
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import PROJECT_FOLDER, read_handover
from deploy.embedded.ports import choose_port, listen
from deploy.embedded.processes import MARK_VARIABLE, ProcessRecord, is_running, read_records
from deploy.embedded.servers import choose_servers
from tests.conftest import url_of_test_database
from tests.deploy.conftest import wait_until
from tests.faults.stack import dump, restore

pytestmark = [pytest.mark.faults, pytest.mark.django_db]

StartUp = Callable[[DataFolder, int], subprocess.Popen[bytes]]


@pytest.fixture
def migrated(data: DataFolder, django_db_setup: None) -> DataFolder:
    """A data folder with the tables of the test database; empty where they can't be read."""
    tables = dump(url_of_test_database())
    if tables is not None:
        postgres = choose_servers(data, {}).postgres
        assert postgres is not None
        postgres.initialise()
        server = Child(postgres.program({MARK_VARIABLE: data.mark()}))
        server.start()
        try:
            wait_until(postgres.problem)
            postgres.ensure_database()
            restore(tables, postgres)
        finally:
            stop_together([server])
    return data


@pytest.fixture
def start_up(tmp_path: Path) -> Iterator[StartUp]:
    """Start the service as a person would, without demo, on servers of its own."""
    started: list[subprocess.Popen[bytes]] = []
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}

    def start(data: DataFolder, port: int) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "deploy.embedded.up", "--no-demo"]
        command += ["--data", str(data.path), "--port", str(port)]
        said = tmp_path / f"said-{len(started)}.txt"
        with said.open("wb") as stream:
            process = subprocess.Popen(command, cwd=PROJECT_FOLDER, env=kept, stdout=stream)
        started.append(process)
        wait_until(
            lambda: (
                ""
                if "address" in data.noted("state") and process.poll() is None
                else said.read_text() or "it has said nothing yet"
            )
        )
        return process

    yield start
    for process in started:
        process.terminate()
    for process in started:
        process.wait(timeout=60)


def address(data: DataFolder) -> tuple[str, int]:
    parts = urlsplit(str(data.noted("state")["address"]))
    assert parts.hostname is not None and parts.port is not None
    return parts.hostname, parts.port


def health(data: DataFolder) -> dict[str, str]:
    connection = http.client.HTTPConnection(*address(data), timeout=30)
    try:
        connection.request("GET", "/health/")
        answer: dict[str, str] = json.loads(connection.getresponse().read())
        return answer
    finally:
        connection.close()


def processes(data: DataFolder) -> dict[str, ProcessRecord]:
    return {record.name: record for record in read_records(data.records)}


def test_a_row_outlives_the_killing_of_everything(migrated: DataFolder, start_up: StartUp) -> None:
    data = migrated
    with listen("127.0.0.1", 0) as squatter:
        taken = squatter.getsockname()[1]
        first = start_up(data, taken)
        assert address(data)[1] != taken
    assert health(data) == {"status": "ok", "database": "ok", "redis": "ok"}
    with psycopg.connect(read_handover(data.path)["DATABASE_URL"]) as connection:
        connection.execute("CREATE TABLE depth (mm integer)")
        connection.execute("INSERT INTO depth VALUES (350)")

    # One program: it is started again by itself.
    killed = processes(data)["web-1"]
    os.kill(killed.pid, signal.SIGKILL)
    wait_until(lambda: processes(data)["web-1"] == killed)

    # The supervisor: everything dies with it.
    before = processes(data)
    assert set(before) == {
        *("supervisor", "postgres", "valkey", "web-1", "web-2", "worker", "planner", "beat"),
    }
    data.drop_note("state")
    first.kill()
    first.wait()
    wait_until(lambda: [one.name for one in before.values() if is_running(one)])

    second = start_up(data, choose_port("127.0.0.1", None))
    assert health(data)["status"] == "ok"
    with psycopg.connect(read_handover(data.path)["DATABASE_URL"]) as connection:
        assert connection.execute("SELECT mm FROM depth").fetchall() == [(350,)]

    # Asked to stop, it ends in order, and leaves nothing running.
    before = processes(data)
    second.send_signal(signal.SIGINT)
    assert second.wait(timeout=60) == 0
    assert [one.name for one in before.values() if is_running(one)] == []
    assert data.noted("state") == {}
