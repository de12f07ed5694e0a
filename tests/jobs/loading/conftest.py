"""Loads are marked on their own day: most tests look at a Monday ahead and stand on it."""

from __future__ import annotations

import pytest

from tests.jobs.loading.yard import next_monday


@pytest.fixture(autouse=True)
def it_is_monday(monkeypatch):
    """For marking loads it is the Monday that the yard is about."""
    monkeypatch.setattr("jobs.loading.when.today", next_monday)
