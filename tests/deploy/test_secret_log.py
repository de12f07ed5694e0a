"""What Django itself logs of a request holds no secret address either."""

from __future__ import annotations

import logging

import pytest
from django.test import Client

from deploy.secret_log import SecretPathFilter
from jobs.secret_paths import SECRET_PATHS, without_secrets

pytestmark = pytest.mark.django_db

KEY = "eyJwZXJzb24iOjF9:1wXYbn:KDJWf7z71UHL"


def written(records: list[logging.LogRecord]) -> str:
    """The records as the service's own handler writes them."""
    handlers = logging.getLogger().handlers
    ours = next(
        one for one in handlers if any(isinstance(each, SecretPathFilter) for each in one.filters)
    )
    return "\n".join(ours.format(record) for record in records if ours.filter(record))


def test_a_form_that_is_refused_leaves_no_key_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    stranger = Client(enforce_csrf_checks=True)

    answer = stranger.post(f"/account/address/confirm/{KEY}/", {"password": "x"})
    stranger.get(f"/calendars/{KEY}.ics")

    log = written(caplog.records)
    assert answer.status_code == 403
    assert "/account/address/confirm/..." in log
    assert "Not Found: /calendars/..." in log
    assert KEY not in log


@pytest.mark.parametrize("beginning", SECRET_PATHS)
def test_only_the_secret_goes(beginning: str) -> None:
    line = f'"GET {beginning}{KEY} HTTP/1.1" 429 of /desk/'

    assert without_secrets(line) == f'"GET {beginning}... HTTP/1.1" 429 of /desk/'
