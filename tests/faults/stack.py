"""The real stack on servers of its own: PostgreSQL, Valkey, web processes and a worker, to kill."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from deploy.embedded import programs
from deploy.embedded.children import Child, stop_together
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import PROJECT_FOLDER
from deploy.embedded.postgres import PostgresServer
from deploy.embedded.processes import MARK_VARIABLE
from deploy.embedded.servers import choose_servers
from deploy.embedded.valkey import ValkeyServer

PATIENCE_S = 120.0
WEB = ("web-1", "web-2")
WORKER = "worker"
DATABASE = "database"


@dataclass
class Stack:
    data: DataFolder
    postgres: PostgresServer
    valkey: ValkeyServer
    listener: socket.socket
    environment: dict[str, str]
    database: Child
    queue: Child
    loaded: subprocess.Popen[str]
    pids: dict[str, int] = field(default_factory=dict)

    @property
    def port(self) -> int:
        number: int = self.listener.getsockname()[1]
        return number

    def fork(self, name: str) -> None:
        assert self.loaded.stdin is not None and self.loaded.stdout is not None
        self.loaded.stdin.write("web\n" if name in WEB else "worker\n")
        self.loaded.stdin.flush()
        self.pids[name] = int(self.loaded.stdout.readline())

    def kill(self, name: str) -> None:
        """SIGKILL; the database with all its processes."""
        if name == DATABASE:
            self.database.kill_group()
            assert self.database.process is not None
            self.database.process.wait()
            return
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pids[name], signal.SIGKILL)

    def start_again(self, name: str) -> None:
        if name != DATABASE:
            self.fork(name)
            return
        self.postgres.initialise()
        self.database.start()
        self.wait_for_database()

    def wait_for_database(self) -> None:
        """A server that finds the memory of the killed one in use ends; it is started again."""
        deadline = time.monotonic() + PATIENCE_S
        while trouble := self.postgres.problem():
            assert time.monotonic() < deadline, trouble
            if self.database.ended() is not None:
                self.postgres.initialise()
                self.database.start()
            time.sleep(0.02)

    def run(self, *arguments: str) -> str:
        """Run a program of the project in the stack's environment; what it printed."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=PROJECT_FOLDER,
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr[-3000:]
        return done.stdout

    def seed(self, crews: int) -> list[dict[str, Any]]:
        told = self.run("-m", "tests.faults.seeding", str(crews))
        seeded: list[dict[str, Any]] = json.loads(told.splitlines()[-1])
        return seeded


@contextmanager
def running_stack(folder: Path) -> Iterator[Stack]:
    data = DataFolder(folder / "data")
    data.open()
    servers = choose_servers(data, {})
    assert servers.postgres is not None and servers.valkey is not None
    mark = {MARK_VARIABLE: data.mark()}
    servers.postgres.initialise()
    database = Child(servers.postgres.program(mark))
    queue = Child(servers.valkey.program(mark))
    database.start()
    queue.start()
    data.secret("secret_key")
    with socket.create_server(("127.0.0.1", 0), backlog=256) as listener:
        handed = programs.handed_over(data, servers, "127.0.0.1", listener.getsockname()[1])
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
        environment = {
            **programs.service_environment(kept, handed, data.mark()),
            "LOG_LEVEL": "WARNING",
        }
        with (folder / "programs.log").open("wb") as log:
            loaded = subprocess.Popen(
                [sys.executable, "tests/faults/preloaded.py", str(listener.fileno())],
                cwd=PROJECT_FOLDER,
                env=environment,
                pass_fds=[listener.fileno()],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
            )
        stack = Stack(
            data, servers.postgres, servers.valkey, listener, environment, database, queue, loaded
        )
        try:
            stack.wait_for_database()
            stack.postgres.ensure_database()
            stack.run("manage.py", "migrate", "--verbosity", "0")
            assert loaded.stdout is not None
            assert loaded.stdout.readline() == "ready\n"
            for name in (*WEB, WORKER):
                stack.fork(name)
            yield stack
        finally:
            for name in (*WEB, WORKER):
                if name in stack.pids:
                    stack.kill(name)
            loaded.kill()
            loaded.wait()
            stop_together([queue, database])
