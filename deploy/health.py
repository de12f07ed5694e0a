"""Whether this process can do its work: it reaches its database and its Redis-protocol server."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.core.cache import cache
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)


def check_database() -> None:
    """Ask the database for a row.

    Raises:
        DatabaseError: it can't be reached.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        cursor.fetchone()


def check_redis() -> None:
    """Ask the cache for a key.

    Raises:
        RedisError: it can't be reached.
    """
    cache.get("health")


CHECKS: dict[str, Callable[[], None]] = {"database": check_database, "redis": check_redis}


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """200 when every check passes, else 503; which one failed is named, why is in the log."""
    states: dict[str, str] = {}
    for name, check in CHECKS.items():
        try:
            check()
            states[name] = "ok"
        except (DatabaseError, RedisError, OSError) as error:
            logger.error("health: %s can't be reached: %s", name, error)
            states[name] = "unreachable"
    healthy = all(state == "ok" for state in states.values())
    body = {"status": "ok" if healthy else "unreachable", **states}
    return JsonResponse(body, status=200 if healthy else 503)
