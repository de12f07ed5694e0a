"""One migrated database on the test server, which every test database is copied from.

Migrating takes half a minute, copying a second. A copy is known by the digest of all migrations,
so that a changed one makes another. `python -m tests.migrated` makes it ahead of the tests.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import django
import psycopg
from django.apps import apps
from psycopg import sql

PREFIX = "migrated_"
UNFINISHED = f"{PREFIX}unfinished"
MOST_KEPT = 4  # on a server that stays: branches have their own
AS_A_FIRST_START_DOES = """
import django
django.setup()
from deploy.embedded.prepare import migrate
assert migrate().endswith(" applied")
assert migrate() == "up to date"
"""
PROJECT_FOLDER = Path(__file__).resolve().parent.parent
ONE_AT_A_TIME = 4_270_190_631
"""Number of the advisory lock: whoever comes second waits, and finds it made."""


def ensure_migrated() -> str:
    """The name of the migrated database; make it where it is missing, and drop the oldest.

    Raises subprocess.CalledProcessError if a migration fails; its output has been shown.
    """
    name = f"{PREFIX}{digest_of_migrations()}"
    server, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute("SELECT pg_advisory_lock(%s)", [ONE_AT_A_TIME])
        like = PREFIX.replace("_", r"\_") + "%"
        rows = connection.execute(
            "SELECT datname FROM pg_database WHERE datname LIKE %s ORDER BY oid DESC", [like]
        )
        present = [row[0] for row in rows]
        if name in present:
            return name
        for old in {UNFINISHED, *present[MOST_KEPT:]}:
            drop = sql.SQL("DROP DATABASE IF EXISTS {} (FORCE)").format(sql.Identifier(old))
            connection.execute(drop)
        migrate(connection, server, name)
    return name


def migrate(connection: psycopg.Connection, server: str, name: str) -> None:
    """Under another name until it is whole: whatever is killed, none is taken for made."""
    connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(UNFINISHED)))
    subprocess.run(
        [sys.executable, "-c", AS_A_FIRST_START_DOES],
        cwd=PROJECT_FOLDER,
        env={**os.environ, "DATABASE_URL": f"{server}/{UNFINISHED}"},
        check=True,
    )
    connection.execute(
        sql.SQL("ALTER DATABASE {} RENAME TO {}").format(
            sql.Identifier(UNFINISHED), sql.Identifier(name)
        )
    )


def digest_of_migrations() -> str:
    """Of the bytes of every migration of every installed app."""
    digest = hashlib.sha256()
    for config in sorted(apps.get_app_configs(), key=lambda one: one.label):
        for path in sorted(Path(config.path, "migrations").glob("*.py")):
            digest.update(f"{config.label}/{path.name}\0".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


if __name__ == "__main__":
    django.setup()
    print(ensure_migrated())
