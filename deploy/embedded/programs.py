"""The service's own programs: web, worker, beat, and the preparation before them."""

from __future__ import annotations

import os
import signal
import socket
import sys
from collections.abc import Mapping
from pathlib import Path

import psutil

from deploy.embedded.children import Program
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import PROJECT_FOLDER, missing_from
from deploy.embedded.processes import MARK_VARIABLE
from deploy.embedded.servers import Servers

WEB_PROCESSES = 2
LOCAL_NAMES = ("127.0.0.1", "localhost", "[::1]", "::1")
EVERY_ADDRESS = ("0.0.0.0", "::")
# The queue of plan runs, by CELERY_TASK_ROUTES.
PLANNING_QUEUE = "planning"
# Seconds that a request under way gets to end when the service stops.
GRACE_S = 3


def handed_over(data: DataFolder, servers: Servers, host: str, port: int) -> dict[str, str]:
    """The variables that tell any command of the project where this service's parts are."""
    return {
        "DJANGO_SETTINGS_MODULE": "deploy.settings.embedded",
        "DATABASE_URL": servers.database_url,
        "REDIS_URL": servers.redis_url,
        "SECRET_KEY_FILE": str(data.secrets / "secret_key"),
        "MEDIA_ROOT": str(data.media),
        "STATIC_ROOT": str(data.static),
        "ALLOWED_HOSTS": ",".join(allowed_hosts(host)),
        "PUBLIC_ADDRESS": address_for_people(host, port).rstrip("/"),
        "EAVESBOOK_DATA": str(data.path),
        "SHOW_DEMO_SIGN_INS": "1" if host in LOCAL_NAMES else "0",
    }


def service_environment(
    present: Mapping[str, str], handed: Mapping[str, str], mark: str
) -> dict[str, str]:
    """The environment of the service's programs.

    What the person set wins, so that any setting can be given to `deploy/up`; but the place of the
    data and the settings module belong to this start.
    """
    own = {name: handed[name] for name in ("DJANGO_SETTINGS_MODULE", "EAVESBOOK_DATA")}
    return {
        **present,
        **missing_from(present, handed),
        **own,
        MARK_VARIABLE: mark,
        "PYTHONUNBUFFERED": "1",
        "PYTHONPATH": str(PROJECT_FOLDER),
    }


def address_for_people(host: str, port: int) -> str:
    """The one address to open in a browser."""
    if host in EVERY_ADDRESS:
        host = next(iter(addresses()), "127.0.0.1")
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


def allowed_hosts(host: str) -> list[str]:
    """Names by which browsers may call the service that listens on `host`."""
    names = ["127.0.0.1", "localhost", "[::1]"]
    if host in EVERY_ADDRESS:
        names += [socket.gethostname(), socket.getfqdn(), *addresses()]
    elif host not in LOCAL_NAMES:
        names.append(f"[{host}]" if ":" in host else host)
    return list(dict.fromkeys(names))


def addresses() -> list[str]:
    """The IPv4 addresses of this machine, those for itself alone left out."""
    return [
        address.address
        for interface in psutil.net_if_addrs().values()
        for address in interface
        if address.family == socket.AF_INET and not address.address.startswith("127.")
    ]


def prepare_program(environment: Mapping[str, str], *, demo: bool) -> Program:
    """Migrate, collect static files, load the demo; it talks to the terminal itself."""
    return Program(
        name="prepare",
        command=[sys.executable, "-m", "deploy.embedded.prepare", *([] if demo else ["--no-demo"])],
        environment=environment,
        folder=PROJECT_FOLDER,
        log=Path(os.devnull),
        to_terminal=True,
    )


def web_programs(
    data: DataFolder, environment: Mapping[str, str], listener: socket.socket
) -> list[Program]:
    """Web processes that share one listening socket, each watched by itself.

    The supervisor keeps the socket: while a process starts again, callers wait in its queue.
    """
    command = [sys.executable, "-m", "uvicorn", "deploy.asgi:application"]
    command += ["--fd", str(listener.fileno()), "--lifespan", "off", "--no-access-log"]
    command += ["--no-proxy-headers", "--timeout-graceful-shutdown", str(GRACE_S)]
    return [
        Program(
            name=f"web-{number}",
            command=command,
            environment=environment,
            folder=PROJECT_FOLDER,
            log=data.logs / f"web-{number}.log",
            stop_signals=((signal.SIGTERM, GRACE_S + 2.0),),
            inherited=(listener.fileno(),),
        )
        for number in range(1, WEB_PROCESSES + 1)
    ]


def worker_program(
    data: DataFolder, environment: Mapping[str, str], *, only_worker: bool
) -> Program:
    """One Celery worker. `only_worker` says that no other takes tasks from the same server."""
    ready_file = worker_ready_file(data)
    concurrency = max(1, min(4, os.cpu_count() or 1))
    command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--loglevel", "INFO"]
    command += ["--concurrency", str(concurrency), "--hostname", "embedded@%h"]
    command += ["--without-gossip", "--without-mingle"]
    return Program(
        name="worker",
        command=command,
        environment={
            **environment,
            "EAVESBOOK_WORKER_READY_FILE": str(ready_file),
            "EAVESBOOK_ONLY_WORKER": "1" if only_worker else "0",
        },
        folder=PROJECT_FOLDER,
        log=data.logs / "worker.log",
        # Warm: tasks under way may end. Then cold: they go back to the queue.
        stop_signals=((signal.SIGTERM, 4.0), (signal.SIGQUIT, 3.0)),
    )


def planner_program(data: DataFolder, environment: Mapping[str, str]) -> Program:
    """A worker of its own for plan runs, one at a time.

    A run takes a processor for minutes; photos and verdicts must not wait for it. What it leaves
    behind when it dies is found by its silent heartbeat, so it hands nothing out again.
    """
    command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--loglevel", "INFO"]
    command += ["--queues", PLANNING_QUEUE, "--concurrency", "1", "--hostname", "planner@%h"]
    command += ["--without-gossip", "--without-mingle"]
    return Program(
        name="planner",
        command=command,
        environment={**environment, "EAVESBOOK_ONLY_WORKER": "0"},
        folder=PROJECT_FOLDER,
        log=data.logs / "planner.log",
        stop_signals=((signal.SIGTERM, 1.0), (signal.SIGQUIT, 3.0)),
    )


def worker_ready_file(data: DataFolder) -> Path:
    """The file that the worker makes when it takes tasks."""
    return data.run / "worker.ready"


def beat_program(data: DataFolder, environment: Mapping[str, str]) -> Program:
    """The clock that sends tasks at their times. There must be one only."""
    command = [sys.executable, "-m", "celery", "-A", "deploy", "beat", "--loglevel", "INFO"]
    command += ["--schedule", str(data.beat / "schedule"), "--pidfile="]
    return Program(
        name="beat",
        command=command,
        environment=environment,
        folder=PROJECT_FOLDER,
        log=data.logs / "beat.log",
    )
