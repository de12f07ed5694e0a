"""What a visitor or a program is told when an answer can't be made.

503 while the database or the Redis-protocol server is away, since trying again helps then; else
500, a fault of ours. Programs and phones get a problem document (RFC 9457), people a page.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.template import loader
from django.views.decorators.csrf import requires_csrf_token
from kombu.exceptions import OperationalError as BrokerError
from redis.exceptions import ConnectionError as RedisConnectionError
from redis.exceptions import TimeoutError as RedisTimeoutError

TRY_AGAIN_AFTER_S = 15
FOR_PROGRAMS = ("/api/", "/uploads/")
SERVERS_AWAY = (BrokerError, RedisConnectionError, RedisTimeoutError)
# Classes of PostgreSQL's error codes: connection, insufficient resources, operator intervention.
DATABASE_AWAY = ("08", "53", "57P")
TITLES = {
    500: "A fault on our side.",
    503: "The service can't reach one of its servers.",
}
DETAIL = "Nothing that was acknowledged is lost. Send it again in a while."


def away(error: BaseException | None) -> bool:
    """Whether a server could not be reached, rather than that it refused what it was asked."""
    if isinstance(error, OperationalError | InterfaceError):
        code = getattr(error.__cause__, "sqlstate", None)
        return code is None or code.startswith(DATABASE_AWAY)
    return isinstance(error, SERVERS_AWAY)


@requires_csrf_token
def server_error(request: HttpRequest, *_: Any) -> HttpResponse:
    """Django's `handler500`, called while the error is handled. Asks no server for anything."""
    status = 503 if away(sys.exc_info()[1]) else 500
    if request.path.startswith(FOR_PROGRAMS):
        body = {
            "type": "about:blank",
            "title": TITLES[status],
            "status": status,
            "detail": DETAIL,
        }
        answer = HttpResponse(json.dumps(body), content_type="application/problem+json")
    else:
        answer = HttpResponse(loader.get_template(f"{status}.html").render())
    answer.status_code = status
    if status == 503:
        answer["Retry-After"] = str(TRY_AGAIN_AFTER_S)
    return answer
