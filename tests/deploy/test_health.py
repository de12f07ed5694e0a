from __future__ import annotations

from typing import Any

import pytest
from django.core.cache import caches
from django.db import OperationalError
from django.test import Client

from deploy import health


@pytest.mark.django_db
def test_healthy(client: Client) -> None:
    response = client.get("/health/")
    assert response.status_code == 200
    assert response.json() == {"status": "ok", "database": "ok", "redis": "ok"}
    assert "no-store" in response["Cache-Control"]


@pytest.mark.django_db
def test_an_unreachable_redis_is_named(client: Client, settings: Any) -> None:
    # Port 9 is the discard service's (RFC 863); nothing listens there.
    settings.CACHES = {"default": settings.CACHES["default"] | {"LOCATION": "redis://127.0.0.1:9"}}
    assert caches["default"] is not None
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json() == {"status": "unreachable", "database": "ok", "redis": "unreachable"}


@pytest.mark.django_db
def test_an_unreachable_database_is_named_without_its_address(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse() -> None:
        raise OperationalError("connection to 10.0.0.5 refused for user eavesbook")

    monkeypatch.setitem(health.CHECKS, "database", refuse)
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json()["database"] == "unreachable"
    assert "10.0.0.5" not in response.content.decode()


def test_only_reading_is_allowed(client: Client) -> None:
    assert client.post("/health/").status_code == 405
