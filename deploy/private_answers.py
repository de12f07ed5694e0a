"""Answers that depend on who is signed in are for their browser alone (RFC 9111, 5.2.2.7)."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from asgiref.sync import iscoroutinefunction
from django.http import HttpRequest, HttpResponseBase
from django.utils.cache import has_vary_header
from django.utils.decorators import sync_and_async_middleware

HEADER = "Cache-Control"
PRIVATE = "private"
"""Not `no-store`, which would take the form with all that was typed from who goes back to it."""


def keep_private(response: HttpResponseBase) -> HttpResponseBase:
    """No cache between may keep an answer that goes by the cookie and says nothing of caching."""
    if has_vary_header(response, "Cookie"):
        response.setdefault(HEADER, PRIVATE)
    return response


@sync_and_async_middleware
def private_answers_middleware(
    get_response: Callable[[HttpRequest], Any],
) -> Callable[[HttpRequest], HttpResponseBase] | Callable[[HttpRequest], Awaitable[Any]]:
    """Mark private answers as such."""
    if iscoroutinefunction(get_response):

        async def answer_async(request: HttpRequest) -> HttpResponseBase:
            return keep_private(await get_response(request))

        return answer_async

    def answer(request: HttpRequest) -> HttpResponseBase:
        return keep_private(get_response(request))

    return answer
