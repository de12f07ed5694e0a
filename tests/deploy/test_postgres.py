"""The embedded PostgreSQL, really started, killed and started again."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest

from deploy.embedded.children import Child, Program, stop_together
from deploy.embedded.console import StartUpError
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.ports import choose_port
from deploy.embedded.postgres import HOST, PostgresServer, check_version, remove_stale_lock
from tests.deploy.conftest import wait_until

pytestmark = pytest.mark.faults

StartServer = Callable[[PostgresServer], Child]


@pytest.fixture
def server(data: DataFolder) -> PostgresServer:
    """A server in a folder whose path is too long for a unix socket (107 bytes, unix(7))."""
    folder = data.path / ("long" * 30) / "postgres"
    return PostgresServer(
        folder=folder,
        log=data.logs / "postgres.log",
        port=choose_port(HOST, None),
        admin_password="the admin's: %/@'",
        password="the service's: %/@'",
    )


@pytest.fixture
def start_server(start_child: Callable[[Program], Child]) -> StartServer:
    def start(server: PostgresServer) -> Child:
        server.initialise()
        child = start_child(server.program({}))
        wait_until(server.problem)
        server.ensure_database()
        return child

    return start


def test_a_committed_row_survives_a_kill(server: PostgresServer, start_server: StartServer) -> None:
    child = start_server(server)
    with psycopg.connect(server.url()) as connection:
        connection.execute("CREATE TABLE depth (mm integer)")
        connection.execute("INSERT INTO depth VALUES (270)")
    assert child.process is not None
    child.process.send_signal(signal.SIGKILL)
    child.process.wait()
    # Still there, as after a crash of the machine.
    assert (server.cluster / "postmaster.pid").exists()

    start_server(server)

    with psycopg.connect(server.url()) as connection:
        assert connection.execute("SELECT mm FROM depth").fetchall() == [(270,)]


def test_what_the_server_grants_and_refuses(
    server: PostgresServer, start_server: StartServer
) -> None:
    child = start_server(server)
    with psycopg.connect(server.url(), autocommit=True) as connection:
        row = connection.execute(
            """
            SELECT rolsuper, rolcreatedb, datlocprovider::text, datlocale,
                   current_setting('fsync'), current_setting('listen_addresses')
            FROM pg_roles, pg_database
            WHERE rolname = current_user AND datname = current_database()
            """
        ).fetchone()
        assert row == (False, True, "b", "C.UTF-8", "on", "127.0.0.1")
        # Exclusion constraints over crews and times need it.
        connection.execute("CREATE EXTENSION btree_gist")
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            connection.execute("SET session_replication_role = replica")
    with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
        psycopg.connect(server.url().replace("eavesbook:", "eavesbook:wrong"))
    assert child.process is not None
    status = Path(f"/proc/{child.process.pid}/status").read_text()
    uid = next(line for line in status.splitlines() if line.startswith("Uid:")).split()[1]
    identity = child.program.identity
    changed = identity.uid is not None and not identity.own_namespace
    assert uid == str(identity.uid if changed else os.geteuid())
    stop_together([child])
    assert child.ended() == 0


def test_starting_again_makes_no_second_cluster(
    server: PostgresServer, start_server: StartServer
) -> None:
    stop_together([start_server(server)])
    assert server.initialise() is False


def test_a_lock_whose_number_is_a_strangers_is_removed(tmp_path: Path) -> None:
    lock = tmp_path / "postmaster.pid"
    lock.write_text(f"{os.getpid()}\n{tmp_path}\n")
    remove_stale_lock(tmp_path)
    assert not lock.exists()


@pytest.mark.parametrize("text", ["", "no number\n", f"{2**22 + 1}\n"])
def test_a_lock_that_postgres_sees_through_itself_is_left(tmp_path: Path, text: str) -> None:
    # 2**22 is the highest process number that Linux gives out (proc_sys_kernel(5), pid_max).
    lock = tmp_path / "postmaster.pid"
    lock.write_text(text)
    remove_stale_lock(tmp_path)
    assert lock.exists()


def test_a_cluster_of_another_version_is_refused_with_the_remedy(tmp_path: Path) -> None:
    with pytest.raises(StartUpError, match=r"PostgreSQL 15.*pg_dump"):
        check_version("15", tmp_path)
