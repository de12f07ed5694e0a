"""One stack for all fault tests of a run: its servers, its tables, its loaded processes."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from django.db import connection

from tests.faults.stack import Stack, dump, running_stack


@pytest.fixture(scope="session")
def stack(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    """Begins with the tables that the test run has migrated already."""
    server, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    tables = dump(f"{server}/{connection.settings_dict['NAME']}")
    with running_stack(tmp_path_factory.mktemp("faults"), tables) as stack:
        yield stack
