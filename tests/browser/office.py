"""An office to lose: the real web server as a process, behind a line that breaks at any byte."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.conftest import url_of_test_database

PATIENCE_S = 60.0
PIECE_BYTES = 16 * 1024
HERE = "127.0.0.1"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        return int(probe.getsockname()[1])


class Server:
    """The web server on the test database. `kill` is a kill: nothing is finished or tidied."""

    def __init__(self, folder: Path, log: Path) -> None:
        self.port = free_port()
        self.folder = folder
        self.log = log
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        environment = {
            **os.environ,
            "DATABASE_URL": url_of_test_database(),
            "EAVESBOOK_TEST_FOLDER": str(self.folder),
            "EAVESBOOK_TEST_EAGER": "0",  # a phone's request never waits for a task
        }
        command = [sys.executable, "-m", "uvicorn", "deploy.asgi:application", "--lifespan", "off"]
        command += ["--host", HERE, "--port", str(self.port), "--log-level", "warning"]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
        self._wait()

    def _wait(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            with suppress(urllib.error.URLError, ConnectionError):
                urllib.request.urlopen(f"http://{HERE}:{self.port}/on-site/no-signal/", timeout=5)
                return
            assert self.process is not None
            assert self.process.poll() is None, self.log.read_text(errors="replace")[-3000:]
            time.sleep(0.05)
        raise AssertionError("the web server doesn't start")

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout=5)
            except subprocess.TimeoutExpired:
                self.kill()


class Line:
    """What lies between a phone and the office. It carries bytes, until it is told not to.

    Modes: "up"; "down" (every connection breaks at once); "silent" (taken, never answered, as
    with one bar of signal). `cut_after(n)` breaks everything once n more bytes went up;
    `lose_answer(start)` lets a request that begins so through, and breaks before its answer.
    """

    def __init__(self, to_port: int) -> None:
        self.to_port = to_port
        self.mode = "up"
        self.sent_up = 0
        self._cut_at: int | None = None
        self._unanswered: bytes | None = None
        self._lost: set[socket.socket] = set()
        self._pairs: set[tuple[socket.socket, socket.socket | None]] = set()
        self._lock = threading.Lock()
        self._listener = socket.create_server((HERE, 0), backlog=64)
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def address(self) -> str:
        return f"http://{HERE}:{self.port}"

    def down(self) -> None:
        self.mode = "down"
        self._break_all()

    def silent(self) -> None:
        self.mode = "silent"
        self._break_all()

    def up(self) -> None:
        if self.mode == "silent":
            self._break_all()
        self.mode = "up"

    def cut_after(self, more_bytes: int) -> None:
        """Go down once so many more bytes have been sent up."""
        with self._lock:
            self._cut_at = self.sent_up + more_bytes

    def lose_answer(self, start: bytes) -> None:
        """Go down when the answer to the next request that begins with `start` comes."""
        self._unanswered = start

    @contextmanager
    def cut(self) -> Iterator[None]:
        self.down()
        yield
        self.up()

    def close(self) -> None:
        self.down()
        self._listener.close()

    def wait_until_down(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while self.mode != "down":
            assert time.monotonic() < deadline, "nothing was sent that could be cut"
            time.sleep(0.01)

    def _listen(self) -> None:
        while True:
            try:
                phone, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(phone,), daemon=True).start()

    def _carry(self, phone: socket.socket) -> None:
        if self.mode == "down":
            return _break(phone)
        office: socket.socket | None = None
        if self.mode == "up":
            try:
                office = socket.create_connection((HERE, self.to_port))
            except OSError:
                return _break(phone)
        pair = (phone, office)
        with self._lock:
            self._pairs.add(pair)
        if office is None:
            return None
        threading.Thread(target=self._pump, args=(office, phone, False), daemon=True).start()
        self._pump(phone, office, True)
        with self._lock:
            self._pairs.discard(pair)
        return None

    def _pump(self, source: socket.socket, goal: socket.socket, is_up: bool) -> None:
        with suppress(OSError):
            while piece := source.recv(PIECE_BYTES):
                if is_up:
                    if self._unanswered and piece.startswith(self._unanswered):
                        self._lost.add(source)
                    goal.sendall(self._let_through(piece))
                elif goal in self._lost:
                    self._unanswered = None
                    self.down()
                else:
                    goal.sendall(piece)
        _break(source)
        _break(goal)

    def _let_through(self, piece: bytes) -> bytes:
        """The piece, or what still goes through before the line is cut in its midst."""
        with self._lock:
            left = len(piece) if self._cut_at is None else self._cut_at - self.sent_up
            self.sent_up += len(piece)
        if left >= len(piece):
            return piece
        self._cut_at = None
        self.down()
        return piece[: max(0, left)]

    def _break_all(self) -> None:
        with self._lock:
            pairs, self._pairs = self._pairs, set()
        for pair in pairs:
            for end in pair:
                if end is not None:
                    _break(end)


def _break(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    with suppress(OSError):
        end.close()
