from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from deploy.embedded.console import StartUpError
from deploy.embedded.ports import choose_port, is_free, listen

HOST = "127.0.0.1"


@pytest.fixture
def taken_port() -> Iterator[int]:
    with listen(HOST, 0) as listener:
        yield listener.getsockname()[1]


def test_a_free_port_is_kept() -> None:
    with listen(HOST, 0) as listener:
        port = listener.getsockname()[1]
    assert choose_port(HOST, port) == port


def test_a_taken_port_is_passed_over(taken_port: int) -> None:
    port = choose_port(HOST, taken_port)
    assert port != taken_port
    assert is_free(HOST, port)


def test_a_port_promised_to_something_else_is_passed_over() -> None:
    with listen(HOST, 0) as listener:
        port = listener.getsockname()[1]
    assert choose_port(HOST, port, frozenset({port})) != port


def test_listening_moves_on_from_a_taken_port(taken_port: int) -> None:
    with listen(HOST, taken_port) as listener:
        port = listener.getsockname()[1]
        assert port != taken_port
        with socket.create_connection((HOST, port), timeout=5):
            pass


def test_a_listening_socket_keeps_its_port() -> None:
    with listen(HOST, 0) as listener:
        assert not is_free(HOST, listener.getsockname()[1])


def test_an_address_of_another_machine_is_refused_with_the_remedy() -> None:
    # 192.0.2.0/24 is for documentation (RFC 5737), so no machine has it.
    with pytest.raises(StartUpError, match=r"192\.0\.2\.1.*--host"):
        listen("192.0.2.1", 0)
