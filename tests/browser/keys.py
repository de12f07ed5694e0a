"""Signing in where that is not what is tested: by the cookie that the sign-in page would give."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from django.conf import settings
from django.db import connection
from django.test import Client
from playwright.sync_api import BrowserContext

from jobs.models import User

Made = TypeVar("Made")


def sign_in(context: BrowserContext, person: User, address: str) -> None:
    """Whoever sits at a screen of that context is that person, as if by the sign-in page."""
    value = elsewhere(lambda: session_of(person))
    cookie = {"name": settings.SESSION_COOKIE_NAME, "value": value, "url": address}
    context.add_cookies([cookie])  # type: ignore[list-item]


def session_of(person: User) -> str:
    """The value of the session's cookie."""
    client = Client()
    client.force_login(person)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def elsewhere(make: Callable[[], Made]) -> Made:
    """Made in another thread, with a connection to the database of its own.

    Once a browser is there its loop runs in this thread, and forbids to ask the database.
    """

    def made() -> Made:
        try:
            return make()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(made).result()
