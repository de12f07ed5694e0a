"""The office's web server as a process that can be killed."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from pathlib import Path

from tests.browser.line import HERE, PATIENCE_S
from tests.conftest import url_of_test_database


class Server:
    """The web server on the test database. `kill` is a kill: nothing is finished or tidied.

    Its port is bound here as well, without listening: nobody else gets it while the server is not
    up yet or killed, and who connects then is refused.
    """

    def __init__(self, folder: Path, log: Path) -> None:
        self.bound = socket.socket()
        self.bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.bound.bind((HERE, 0))
        self.port = int(self.bound.getsockname()[1])
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
            with suppress(OSError):  # nobody listens yet, or no answer comes in time
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
