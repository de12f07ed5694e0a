"""What the tests of compliance share."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.cache import caches


@pytest.fixture(autouse=True)
def cache_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cache that no other test and no earlier run wrote to."""
    monkeypatch.setattr(caches["default"], "key_prefix", uuid4().hex)
