"""The Content-Security-Policy header (W3C Content Security Policy Level 3)."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

from asgiref.sync import iscoroutinefunction
from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.utils.decorators import sync_and_async_middleware

HEADER = "Content-Security-Policy"


def header_value(policy: Mapping[str, Sequence[str]]) -> str:
    """A policy, one list of sources a directive, as the header's text."""
    return "; ".join(f"{directive} {' '.join(sources)}" for directive, sources in policy.items())


@sync_and_async_middleware
def content_security_middleware(
    get_response: Callable[[HttpRequest], Any],
) -> Callable[[HttpRequest], HttpResponseBase] | Callable[[HttpRequest], Awaitable[Any]]:
    """Put the policy of the settings on every answer that has none of its own."""
    value = header_value(settings.CONTENT_SECURITY_POLICY)

    if iscoroutinefunction(get_response):

        async def answer_async(request: HttpRequest) -> HttpResponseBase:
            response: HttpResponseBase = await get_response(request)
            response.setdefault(HEADER, value)
            return response

        return answer_async

    def answer(request: HttpRequest) -> HttpResponseBase:
        response: HttpResponseBase = get_response(request)
        response.setdefault(HEADER, value)
        return response

    return answer
