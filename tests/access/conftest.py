"""The worlds are built once and undone at the end; what a request changes is undone at once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import connection

from compliance.certificates import lookups
from tests.access.visitor import EVERYBODY, Visitor, undone
from tests.access.worlds import World, build_worlds


@pytest.fixture(scope="package")
def worlds(django_db_setup: None, django_db_blocker: Any) -> Iterator[dict[str, World]]:
    with django_db_blocker.unblock(), undone():
        built = build_worlds()
        connection.check_constraints()  # left to the end of each test, all of them every time
        yield built


@pytest.fixture(autouse=True)
def never_too_often(monkeypatch: pytest.MonkeyPatch) -> None:
    """The public check would tell who tries so many addresses to wait."""
    monkeypatch.setattr(lookups, "LOOKUPS_A_MINUTE", 1_000_000)


@pytest.fixture(scope="package")
def visitors(worlds: dict[str, World]) -> dict[str, Visitor]:
    """A person of the own world for each role, and a stranger."""
    return {role: Visitor(role, worlds) for role in EVERYBODY}
