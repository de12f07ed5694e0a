"""Finding a port to listen on."""

from __future__ import annotations

import errno
import socket

from deploy.embedded.console import StartUpError

LAST_PORT = 65535
# How far above the wanted port to look before letting the system choose.
NEIGHBOURS = 20


def is_free(host: str, port: int) -> bool:
    """Whether a socket can be bound to the port now."""
    try:
        _bind(host, port).close()
    except OSError:
        return False
    return True


def choose_port(host: str, wanted: int | None, taken: frozenset[int] = frozenset()) -> int:
    """The wanted port if it is free, else one that the system chooses.

    `taken` are ports promised to something that hasn't started yet.
    """
    if wanted is not None and wanted not in taken and is_free(host, wanted):
        return wanted
    while True:
        with _bind(host, 0) as listener:
            port: int = listener.getsockname()[1]
        if port not in taken:
            return port


def listen(host: str, wanted: int) -> socket.socket:
    """A listening socket on the wanted port, or on the nearest free one above it.

    The socket stays open, so nobody else can take the port afterwards.

    Raises:
        StartUpError: the host is no address of this machine, or the port may not be used.
    """
    candidates = [*range(wanted, min(wanted + NEIGHBOURS, LAST_PORT) + 1), 0]
    for port in candidates:
        try:
            listener = _bind(host, port)
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                continue
            if error.errno == errno.EACCES:
                raise StartUpError(
                    f"Port {port} may only be used by root. Give --port a number above 1023."
                ) from error
            raise StartUpError(
                f"Can't listen on {host}: {error.strerror}. "
                "Give --host an address of this machine, such as 127.0.0.1."
            ) from error
        listener.listen(512)
        return listener
    raise StartUpError("No port is free on this machine.")


def _bind(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except BaseException:
        listener.close()
        raise
    return listener
