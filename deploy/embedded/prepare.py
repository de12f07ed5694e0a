"""Bring database, static files and demo up to date, before the service's programs start.

Runs as one process of its own, since Django takes a second to load: `python -m
deploy.embedded.prepare [--no-demo]`, with the service's environment. It shows its own progress and
leaves the demo's sign-ins, if the demo is there, in the data folder's notes.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import django
from django.apps import apps
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from deploy.accounts.demo import demo_sign_ins
from deploy.embedded.console import say, step
from deploy.embedded.data_folder import DataFolder

LOADING = "demo-loading"
STATIC_STAMP = ".collected-from"


def main(arguments: list[str]) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")
    data = DataFolder(Path(os.environ["EAVESBOOK_DATA"]))
    with step("Project"):
        django.setup()
    with step("Migrations") as progress:
        progress.note = migrate()
    with step("Static files") as progress:
        progress.note = collect_static(Path(settings.STATIC_ROOT))
    if "--no-demo" not in arguments:
        load_demo(data)
    people = [[one.who, one.role, one.email, one.password] for one in demo_sign_ins()]
    data.note("sign_ins", {"sign_ins": people})


def migrate() -> str:
    """Apply missing migrations; return how many there were, in words."""
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if not missing:
        return "up to date"
    call_command("migrate", interactive=False, verbosity=0)
    return f"{len(missing)} applied"


def collect_static(root: Path) -> str:
    """Collect static files if one has changed since the last time; return what was done."""
    stamp = root / STATIC_STAMP
    digest = static_digest()
    if stamp.exists() and stamp.read_text(encoding="ascii") == digest:
        return "unchanged"
    call_command("collectstatic", interactive=False, clear=True, verbosity=0)
    stamp.write_text(digest, encoding="ascii")
    return "collected"


def static_digest() -> str:
    """A digest over names, sizes and times of all static files."""
    digest = hashlib.sha256()
    for name, file in sorted(static_files()):
        status = file.stat()
        digest.update(f"{name}\0{status.st_size}\0{status.st_mtime_ns}\n".encode())
    return digest.hexdigest()


def static_files() -> Iterator[tuple[str, Path]]:
    """Every static file by its name, and where it lies."""
    for finder in get_finders():
        for name, storage in finder.list([]):
            yield name, Path(storage.path(name))


def load_demo(data: DataFolder) -> None:
    """Load the demo scenario into a database that has no company yet.

    It is loaded in several transactions; a note tells the next start of one that was cut off.
    """
    if apps.get_model("jobs", "Company").objects.exists():
        if data.noted(LOADING):
            say("  The demo was cut off while it was loaded, and stays in part.")
            say("  To have it whole, stop this and run: deploy/up --fresh")
        return
    with step("Demo scenario") as progress:
        progress.tell("an invented company; nothing in it is real")
        data.note(LOADING, {"demo": "loading"})
        call_command("load_demo")
        data.drop_note(LOADING)


if __name__ == "__main__":
    main(sys.argv[1:])
