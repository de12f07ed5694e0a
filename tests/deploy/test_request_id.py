from __future__ import annotations

import logging

import pytest
from django.test import Client

from deploy.request_id import NO_REQUEST, RequestIdFilter, choose_request_id, current_request_id

pytestmark = pytest.mark.django_db


def test_every_answer_has_an_id_of_its_own(client: Client) -> None:
    first = client.get("/health/")["X-Request-Id"]
    second = client.get("/health/")["X-Request-Id"]
    assert first != second


def test_the_id_that_a_proxy_gave_is_kept(client: Client) -> None:
    response = client.get("/health/", headers={"X-Request-Id": "edge-0123456789"})
    assert response["X-Request-Id"] == "edge-0123456789"


@pytest.mark.parametrize("offered", [None, "", "short", "x" * 65, "two\nlines-in-the-log"])
def test_an_id_that_could_forge_a_log_line_is_replaced(offered: str | None) -> None:
    chosen = choose_request_id(offered)
    assert chosen != offered
    assert len(chosen) == 32


def test_a_request_is_logged_under_its_id_without_its_query(
    client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.handler.addFilter(RequestIdFilter())
    with caplog.at_level(logging.INFO, logger="eavesbook.requests"):
        response = client.get("/account/sign-in/?next=/secret-place/")
    record = next(one for one in caplog.records if one.name == "eavesbook.requests")
    assert "GET /account/sign-in/ 200" in record.getMessage()
    assert "secret-place" not in record.getMessage()
    assert record.request_id == response["X-Request-Id"]


def test_outside_a_request_there_is_no_id() -> None:
    assert current_request_id.get() in {NO_REQUEST, current_request_id.get()}
    record = logging.LogRecord("x", logging.INFO, "", 0, "", (), None)
    token = current_request_id.set(NO_REQUEST)
    assert RequestIdFilter().filter(record)
    assert record.request_id == NO_REQUEST
    current_request_id.reset(token)
