"""The database and Redis-protocol servers of a start: embedded, or those that the person names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

from deploy.embedded.data_folder import DataFolder
from deploy.embedded.ports import choose_port
from deploy.embedded.postgres import HOST, PostgresServer
from deploy.embedded.valkey import ValkeyServer


@dataclass(frozen=True)
class Servers:
    """Addresses of both servers, and the embedded ones that have to be started for them."""

    database_url: str
    redis_url: str
    postgres: PostgresServer | None
    valkey: ValkeyServer | None


def choose_servers(
    data: DataFolder, environment: Mapping[str, str], *, durable: bool = True
) -> Servers:
    """Servers named by DATABASE_URL and REDIS_URL, and embedded ones for what isn't named.

    An embedded server keeps its port from one start to the next if nobody has taken it.
    """
    database_url = environment.get("DATABASE_URL", "")
    redis_url = environment.get("REDIS_URL", "")
    ports = {name: port for name, port in data.noted("ports").items() if isinstance(port, int)}
    postgres = valkey = None
    if not database_url:
        ports["postgres"] = choose_port(HOST, ports.get("postgres"))
        postgres = PostgresServer(
            folder=data.path / "postgres",
            log=data.logs / "postgres.log",
            port=ports["postgres"],
            admin_password=data.secret("database_admin_password"),
            password=data.secret("database_password"),
            durable=durable,
        )
        database_url = postgres.url()
    if not redis_url:
        taken = frozenset({ports.get("postgres", 0)})
        ports["valkey"] = choose_port(HOST, ports.get("valkey"), taken)
        valkey = ValkeyServer(
            folder=data.path / "valkey",
            log=data.logs / "valkey.log",
            port=ports["valkey"],
            password=data.secret("redis_password"),
            durable=durable,
        )
        redis_url = valkey.url()
    data.note("ports", ports)
    return Servers(database_url, redis_url, postgres, valkey)


def without_password(url: str) -> str:
    """A server's address as it may be shown."""
    parts = urlsplit(url)
    host = parts.hostname or "a socket"
    port = f":{parts.port}" if parts.port else ""
    return f"{parts.scheme}://{host}{port}{parts.path}"
