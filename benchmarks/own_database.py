"""A database and a folder of its own for a benchmark that has to write facts."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import django


@contextmanager
def own_database(name: str) -> Iterator[Path]:
    """Beside the database of DATABASE_URL; gives the folder that holds its files and keys.

    With the settings of the tests. DATABASE_URL is set for processes that are started meanwhile.
    """
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "DJANGO_SETTINGS_MODULE": "deploy.settings.test",
            "EAVESBOOK_TEST_FOLDER": folder,
        }
        django.setup()
        from django.db import connection

        before, url = connection.settings_dict["NAME"], os.environ["DATABASE_URL"]
        from tests.migrated import ensure_migrated

        connection.settings_dict["TEST"] |= {"NAME": name, "TEMPLATE": ensure_migrated()}
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        os.environ["DATABASE_URL"] = f"{url.rpartition('/')[0]}/{name}"
        try:
            yield Path(folder)
        finally:
            connection.creation.destroy_test_db(before, verbosity=0)
