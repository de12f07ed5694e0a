"""The embedded Redis-protocol server, really started, killed and started again."""

from __future__ import annotations

import signal
from collections.abc import Callable

import pytest
import redis

from deploy.embedded.children import Child, Program
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.ports import choose_port
from deploy.embedded.valkey import HOST, ValkeyServer
from tests.deploy.conftest import wait_until

pytestmark = pytest.mark.faults


@pytest.fixture
def server(data: DataFolder) -> ValkeyServer:
    return ValkeyServer(
        folder=data.path / "valkey",
        log=data.logs / "valkey.log",
        port=choose_port(HOST, None),
        password="quite-secret_1",
    )


def test_a_queued_message_survives_a_kill(
    server: ValkeyServer, start_child: Callable[[Program], Child]
) -> None:
    child = start_child(server.program({}))
    wait_until(server.problem)
    with redis.Redis.from_url(server.url()) as client:
        client.lpush("celery", "assess job 7")
    assert child.process is not None
    child.process.send_signal(signal.SIGKILL)
    child.process.wait()

    start_child(server.program({}))

    wait_until(server.problem)
    with redis.Redis.from_url(server.url()) as client:
        assert client.lrange("celery", 0, -1) == [b"assess job 7"]


def test_nobody_gets_in_without_the_password(
    server: ValkeyServer, start_child: Callable[[Program], Child]
) -> None:
    child = start_child(server.program({}))
    wait_until(server.problem)
    with (
        redis.Redis(host=HOST, port=server.port) as client,
        pytest.raises(redis.AuthenticationError),
    ):
        client.get("anything")
    # Anybody on the machine may read a process's arguments.
    assert server.password not in " ".join(child.program.command)
