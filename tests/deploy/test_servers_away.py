"""While the database or the Redis-protocol server is away: who is told what, and who goes on."""

from __future__ import annotations

from typing import Any

import psycopg
import pytest
from celery import Celery
from django.contrib.sessions.models import Session
from django.core.cache.backends.redis import RedisCache
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import path
from kombu.exceptions import OperationalError as BrokerError
from redis.exceptions import ConnectionError as RedisConnectionError
from redis.exceptions import TimeoutError as RedisTimeoutError

from deploy.settings import base
from tests.factories import UserFactory

handler500 = "deploy.server_errors.server_error"

UNREACHABLE = OperationalError("couldn't get a connection after 10.00 sec")
STOPPING = OperationalError("terminating connection due to administrator command")
STOPPING.__cause__ = psycopg.errors.AdminShutdown()
DEADLOCK = OperationalError("deadlock detected")
DEADLOCK.__cause__ = psycopg.errors.DeadlockDetected()
raised: list[Exception] = []


def fails(request: HttpRequest) -> HttpResponse:
    raise raised[-1]


urlpatterns = [path("api/v1/thing/", fails), path("thing/", fails)]


@pytest.fixture
def visitor(settings: Any) -> Client:
    settings.ROOT_URLCONF = __name__
    return Client(raise_request_exception=False)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (UNREACHABLE, 503),
        (STOPPING, 503),
        (RedisConnectionError("refused"), 503),
        (RedisTimeoutError("no answer"), 503),
        (BrokerError("refused"), 503),
        (DEADLOCK, 500),
        (ValueError("a fault of ours"), 500),
    ],
)
def test_only_what_trying_again_mends_is_503(
    visitor: Client, error: Exception, status: int
) -> None:
    raised.append(error)
    page, document = visitor.get("/thing/"), visitor.get("/api/v1/thing/")

    assert (page.status_code, document.status_code) == (status, status)
    assert f"Error {status}" in page.content.decode()
    assert document["Content-Type"] == "application/problem+json"
    assert document.json()["status"] == status
    assert ("Retry-After" in document.headers) == (status == 503)


@pytest.mark.django_db
def test_who_is_signed_in_goes_on_without_the_cache(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.force_login(UserFactory())
    assert Session.objects.count() == 1

    def gone(*_: Any, **__: Any) -> None:
        raise RedisConnectionError("refused")

    for name in ("get", "set"):
        monkeypatch.setattr(RedisCache, name, gone)
    answer = client.get("/")

    assert answer.status_code == 302
    assert "sign-in" not in answer["Location"]


def test_who_sends_a_task_gives_up_while_the_broker_is_away() -> None:
    """With the broker's own error, which says that it may work again later."""
    nobody = "redis://127.0.0.1:1/0"
    app = Celery("away", broker=nobody, backend=nobody, set_as_current=False)
    app.conf.broker_transport_options = base.CELERY_BROKER_TRANSPORT_OPTIONS
    app.conf.task_ignore_result = base.CELERY_TASK_IGNORE_RESULT

    @app.task(name="anything", shared=False)
    def anything() -> None: ...

    for _ in range(2):
        with pytest.raises(BrokerError):
            anything.delay()
