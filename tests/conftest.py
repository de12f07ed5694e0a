"""What every test may use. Areas keep their own fixtures in a conftest.py of theirs."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.apps import apps
from django.db import connection
from django.db.models.signals import post_migrate
from django.dispatch import receiver

from deploy.celery import READY_FILE_VARIABLE
from deploy.celery import app as celery_app
from deploy.embedded.outside import CHROMIUM, PDFSIG, OutsideProgram
from tests.migrated import ensure_migrated

# Of every property the same examples in every run, judged by what comes out, not by how busy the
# machine is.
hypothesis.settings.register_profile(
    "everywhere",
    deadline=None,
    derandomize=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("everywhere")

WORKER_PATIENCE_S = 120.0
LONG_FIRST = ("faults", "browser")  # marks of files that take minutes

MADE_AGAIN_THE_SAME = {"auth_permission", "django_content_type"}
"""What a flush takes and Django makes again right after it, row by row."""
DELETE_ROWS = """
DO $$
DECLARE
    name text;
    has_rows boolean;
BEGIN
    FOREACH name IN ARRAY ARRAY[{tables}] LOOP
        EXECUTE format('SELECT EXISTS (SELECT FROM %I)', name) INTO has_rows;
        IF has_rows THEN
            EXECUTE format('DELETE FROM %I', name);
        END IF;
    END LOOP;
END
$$
"""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first: begun last, one process would wait for the other at the end."""

    def place(item: pytest.Item) -> int:
        marks = [mark for mark in LONG_FIRST if item.get_closest_marker(mark)]
        return LONG_FIRST.index(marks[0]) if marks else len(LONG_FIRST)

    items.sort(key=place)


@receiver(post_migrate)
def put_depth_rules_back(app_config: Any, **_: Any) -> None:
    """A test with transactions of its own ends in a flush, which takes the depth rules too."""
    if app_config.label != "compliance":
        return
    if not apps.get_model("compliance", "DepthRule").objects.exists():
        for module in ("0003_depth_rules", "0022_u_value_route_of_england"):
            import_module(f"compliance.migrations.{module}").add(apps, None)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> None:
    """Copy a migrated database, instead of migrating in every process."""
    connection.settings_dict["TEST"]["TEMPLATE"] = ensure_migrated()


@pytest.fixture(scope="session", autouse=True)
def flush_as_a_superuser() -> Iterator[None]:
    """Tests with transactions of their own end in a flush; tables of facts refuse to be emptied.

    TRUNCATE makes the files of every table and index anew, a thousand of them. Few tables have
    rows, so those are deleted, under the lock that TRUNCATE takes: who still writes is waited for.
    """
    plain = connection.ops.sql_flush

    def with_triggers_off(style: Any, tables: Sequence[str], **kwargs: Any) -> list[str]:
        emptied = sorted(set(tables) - MADE_AGAIN_THE_SAME)
        if kwargs.get("reset_sequences") or not emptied:
            return plain(style, tables, **kwargs)
        names = ", ".join(map(connection.ops.quote_name, emptied))
        triggers = "SET LOCAL session_replication_role TO"
        return [
            f"{triggers} replica",
            f"LOCK TABLE {names} IN ACCESS EXCLUSIVE MODE",
            DELETE_ROWS.format(tables=", ".join(f"'{table}'" for table in emptied)),
            f"{triggers} DEFAULT",
        ]

    connection.ops.sql_flush = with_triggers_off  # type: ignore[method-assign]
    yield
    connection.ops.sql_flush = plain  # type: ignore[method-assign]


@pytest.fixture(scope="session", autouse=True)
def disk_is_not_waited_for() -> Iterator[None]:
    """Files of a test are thrown away with it; processes that lose power are tests/faults' own."""
    plain = os.fsync
    os.fsync = lambda handle: None
    yield
    os.fsync = plain


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The browser for browser tests; a machine without one fails them and says what to do."""
    return path_of(CHROMIUM)


@pytest.fixture(scope="session")
def pdfsig_path() -> str:
    """Poppler's reader of PDF signatures, likewise."""
    return path_of(PDFSIG)


def path_of(program: OutsideProgram) -> str:
    path = program.find(os.environ)
    if path is None:
        pytest.fail(program.how_to_install)
    return path


@pytest.fixture
def running_worker(
    transactional_db: None, settings: Any, tmp_path: Path
) -> Iterator[subprocess.Popen[bytes]]:
    """A Celery worker process on the test's own database, and tasks that go to it by the broker."""
    routed = {str(route["queue"]) for route in celery_app.conf.task_routes.values()}
    queues = sorted(routed | {celery_app.conf.task_default_queue})
    with celery_app.connection_for_write() as broker:
        for queue in queues:
            broker.default_channel.queue_purge(queue)
    ready_file = tmp_path / "worker.ready"
    environment = {
        **os.environ,
        "DATABASE_URL": url_of_test_database(),
        "EAVESBOOK_TEST_EAGER": "0",
        "EAVESBOOK_TEST_FOLDER": str(settings.TEST_FOLDER),
        READY_FILE_VARIABLE: str(ready_file),
    }
    command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--pool", "solo"]
    command += ["--loglevel", "INFO", "--without-gossip", "--without-mingle"]
    command += ["--queues", ",".join(queues)]
    with (tmp_path / "worker.log").open("wb") as log:
        worker = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
    try:
        wait_until_ready(worker, ready_file, tmp_path / "worker.log")
        celery_app.conf.task_always_eager = False
        yield worker
    finally:
        celery_app.conf.task_always_eager = settings.CELERY_TASK_ALWAYS_EAGER
        end(worker)


def end(worker: subprocess.Popen[bytes]) -> None:
    """Let the worker finish what it has in hand, for a while."""
    worker.terminate()
    try:
        worker.wait(timeout=10)
    except subprocess.TimeoutExpired:
        worker.kill()
        worker.wait()


def url_of_test_database() -> str:
    """DATABASE_URL with the name of the database that pytest made."""
    base, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    return f"{base}/{connection.settings_dict['NAME']}"


def wait_until_ready(worker: subprocess.Popen[bytes], ready_file: Path, log: Path) -> None:
    deadline = time.monotonic() + WORKER_PATIENCE_S
    while not ready_file.exists():
        if worker.poll() is not None or time.monotonic() > deadline:
            pytest.fail(f"the worker doesn't start:\n{log.read_text(errors='replace')[-3000:]}")
        time.sleep(0.05)
