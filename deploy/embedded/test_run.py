"""`deploy/test`: the checks and the tests, on servers that live as long as the run.

Without arguments everything runs, the tests on two processes. With arguments the checks are left
out and pytest gets them as they are.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from deploy.embedded.checks import run_checks
from deploy.embedded.console import StartUpError, complain, say
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import PROJECT_FOLDER
from deploy.embedded.outside import FOR_TESTS
from deploy.embedded.servers import Servers, choose_servers
from deploy.embedded.service import STOP_ORDER, start_servers
from deploy.embedded.supervisor import StopRequested, Supervisor

# A file stays in one process; files begin in the order of tests/conftest.py.
EVERYTHING = ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "--durations", "40")


def main(arguments: Sequence[str]) -> int:
    """Run; return the exit code, 0 only when everything passed."""
    folder = Path(tempfile.mkdtemp(prefix="eavesbook-test-"))
    data = DataFolder(folder)
    supervisor = Supervisor(data)
    supervisor.listen_for_signals()
    try:
        data.open()
        outside = {one.variable: one.ensure(os.environ) for one in FOR_TESTS}
        servers = choose_servers(data, os.environ, durable=False)
        start_servers(supervisor, servers)
        environment = test_environment(os.environ, servers, outside, folder)
        return run(arguments, environment, supervisor)
    except StopRequested:
        return 130
    except StartUpError as error:
        complain(str(error))
        return 1
    finally:
        supervisor.stop(STOP_ORDER)
        shutil.rmtree(folder, ignore_errors=True)


def test_environment(
    present: Mapping[str, str], servers: Servers, outside: Mapping[str, str | None], folder: Path
) -> dict[str, str]:
    """The environment of checks and tests. outside: programs found, by their variables."""
    return {
        **present,
        "DJANGO_SETTINGS_MODULE": "deploy.settings.test",
        "DATABASE_URL": servers.database_url,
        "REDIS_URL": servers.redis_url,
        "EAVESBOOK_TEST_FOLDER": str(folder),
        **{variable: path for variable, path in outside.items() if path},
    }


def run(arguments: Sequence[str], environment: dict[str, str], supervisor: Supervisor) -> int:
    """Checks, if everything is asked for, then pytest, whose closing line comes last."""
    failed = []
    if not arguments:
        with migrating(environment):
            failed = run_checks(environment)
    supervisor.raise_if_stopped()
    if failed:
        say(f"\nFailed so far: {', '.join(failed)}\n")
    code = pytest(list(arguments) or list(EVERYTHING), environment, supervisor)
    return code or (1 if failed else 0)


@contextlib.contextmanager
def migrating(environment: Mapping[str, str]) -> Iterator[None]:
    """Migrate for the tests beside something else. If it fails, the tests try and tell."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.migrated"],
        cwd=PROJECT_FOLDER,
        env=dict(environment),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield
        process.wait()
    finally:
        process.kill()
        process.wait()


def pytest(arguments: list[str], environment: Mapping[str, str], supervisor: Supervisor) -> int:
    """Run pytest on the terminal, and let it end in its own way when asked to stop."""
    command = [sys.executable, "-m", "pytest", *arguments]
    process = subprocess.Popen(command, cwd=PROJECT_FOLDER, env=dict(environment))
    while True:
        try:
            return process.wait(timeout=0.2)
        except subprocess.TimeoutExpired:
            if supervisor.stop_asked:
                # Ctrl-C reached pytest from the terminal; other requests to end came here alone.
                if supervisor.stop_signal != signal.SIGINT:
                    process.send_signal(signal.SIGINT)
                return process.wait()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
