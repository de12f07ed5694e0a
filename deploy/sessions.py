"""Sessions in the database, read through the cache; without the cache the database alone.

Who is signed in goes on working while the Redis-protocol server is away. Signing in and out waits
until it is back: what is told there must also hold in the cache, and attempts are counted there.
"""

from __future__ import annotations

import logging
from typing import Any

from django.contrib.sessions.backends import cached_db, db
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)


class SessionStore(cached_db.SessionStore):
    def load(self) -> dict[str, Any]:
        try:
            return super().load()
        except (RedisError, OSError) as error:
            logger.warning("a session is read from the database, the cache is away: %s", error)
            return db.SessionStore.load(self)
