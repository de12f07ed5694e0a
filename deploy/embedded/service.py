"""Starting the servers and the service's programs, in the order in which they need each other."""

from __future__ import annotations

import http.client
import socket
from collections.abc import Mapping
from dataclasses import dataclass

from deploy.embedded import programs
from deploy.embedded.console import StartUpError, say, step
from deploy.embedded.handover import write_handover
from deploy.embedded.processes import MARK_VARIABLE
from deploy.embedded.servers import Servers, choose_servers, without_password
from deploy.embedded.supervisor import Supervisor

DATABASE_PATIENCE_S = 120.0
SERVICE_PATIENCE_S = 120.0
# The service first, then what it stands on.
STOP_ORDER = (
    ("prepare", "web-1", "web-2", "beat", "worker", "planner"),
    ("valkey",),
    ("postgres",),
)


@dataclass(frozen=True)
class ServiceOptions:
    """What the person chose on the command line."""

    host: str
    demo: bool


def start_everything(
    supervisor: Supervisor,
    present: Mapping[str, str],
    listener: socket.socket,
    options: ServiceOptions,
) -> None:
    """Servers, preparation, then web, worker and beat; returns when the web pages answer.

    `present` is the person's environment. Raises StartUpError or StopRequested.
    """
    data = supervisor.data
    left = supervisor.end_left_overs()
    if left:
        names = ", ".join(sorted({record.name for record in left}))
        say(f"  Ended what an earlier run left behind: {names}")
    servers = choose_servers(data, present)
    start_servers(supervisor, servers)
    data.secret("secret_key")
    handed = programs.handed_over(data, servers, options.host, listener.getsockname()[1])
    write_handover(data.path, handed)
    environment = programs.service_environment(present, handed, data.mark())
    prepare(supervisor, environment, demo=options.demo)
    start_programs(supervisor, servers, environment, listener)


def start_servers(supervisor: Supervisor, servers: Servers) -> None:
    """Start the embedded servers that are wanted, and wait until they answer."""
    mark = {MARK_VARIABLE: supervisor.data.mark()}
    postgres, valkey = servers.postgres, servers.valkey
    if postgres is None:
        say(f"  Database of your own: {without_password(servers.database_url)}")
    else:
        with step("PostgreSQL") as progress:
            made = postgres.initialise()
            child = supervisor.start(postgres.program(mark))
            supervisor.wait_for(child, postgres.problem, DATABASE_PATIENCE_S)
            postgres.ensure_database()
            progress.note = words("new" if made else "", child.program.identity.describe())
    if valkey is None:
        say(f"  Redis-protocol server of your own: {without_password(servers.redis_url)}")
    else:
        with step("Valkey (Redis protocol)") as progress:
            child = supervisor.start(valkey.program(mark))
            supervisor.wait_for(child, valkey.problem, DATABASE_PATIENCE_S)
            progress.note = child.program.identity.describe()


def prepare(supervisor: Supervisor, environment: Mapping[str, str], *, demo: bool) -> None:
    """Migrate, collect static files and load the demo.

    Raises:
        StartUpError: one of these failed; it has told the person already.
    """
    child = supervisor.start(programs.prepare_program(environment, demo=demo))
    code = supervisor.run_to_end(child)
    supervisor.children.remove(child)
    if code != 0:
        raise StartUpError("The service can't be prepared; the reason is above.")


def start_programs(
    supervisor: Supervisor,
    servers: Servers,
    environment: Mapping[str, str],
    listener: socket.socket,
) -> None:
    """Start web, workers and beat side by side, and wait until they work."""
    data = supervisor.data
    ready_file = programs.worker_ready_file(data)
    ready_file.unlink(missing_ok=True)
    with step("Web, workers and beat"):
        web = [
            supervisor.start(program)
            for program in programs.web_programs(data, environment, listener)
        ]
        worker = supervisor.start(
            programs.worker_program(data, environment, only_worker=servers.valkey is not None)
        )
        supervisor.start(programs.planner_program(data, environment))
        supervisor.start(programs.beat_program(data, environment))
        address = listener.getsockname()
        for child in web:
            supervisor.wait_for(
                child, lambda: health_problem(address[0], address[1]), SERVICE_PATIENCE_S
            )
        supervisor.wait_for(
            worker,
            lambda: "" if ready_file.exists() else "it takes no tasks yet",
            SERVICE_PATIENCE_S,
        )


def health_problem(host: str, port: int) -> str:
    """Why the web pages don't answer as healthy, else nothing."""
    reachable = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    connection = http.client.HTTPConnection(reachable, port, timeout=5)
    try:
        connection.request("GET", "/health/")
        response = connection.getresponse()
        body = response.read(500).decode(errors="replace")
    except (OSError, http.client.HTTPException) as error:
        return str(error)
    finally:
        connection.close()
    return "" if response.status == http.HTTPStatus.OK else f"{response.status} {body}"


def words(*parts: str) -> str:
    """The parts that say something, with commas between."""
    return ", ".join(part for part in parts if part)
