"""Bodies that are read while they come, for the addresses that take large ones.

Django's ASGI handler waits for the whole body before it looks at a request, and drops everything
when the line breaks before. A phone in a loft sends for minutes: here the view reads as it comes,
so that what came before a break is kept, whoever may not send is told at once, and memory holds
some chunks and not the file. Other addresses are handled as ever.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, MutableMapping
from concurrent.futures import CancelledError
from contextvars import Context
from typing import Any

from django.core.handlers.asgi import ASGIHandler

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

STREAMED_BELOW = "/uploads/"
STREAMED_METHODS = ("POST", "PATCH")
SILENCE_S = 20.0
"""So long the sender may be silent before the line counts as broken."""


class BrokenOff(ConnectionError):
    """The sender went away, or fell silent, before the body ended."""


class StreamedBody:
    """A request's body as a file that is read once. `read` is for the thread of a view."""

    def __init__(self, receive: Receive, loop: asyncio.AbstractEventLoop) -> None:
        self._receive = receive
        self._loop = loop
        self._waiting = b""
        self._more = True

    def read(self, size: int = -1) -> bytes:
        """Up to `size` bytes, as soon as some are there; nothing at the end.

        Raises:
            BrokenOff: the body does not come to its end.
        """
        if size < 0:
            return b"".join(iter(lambda: self.read(1 << 16), b""))
        while not self._waiting and self._more and size:
            self._waiting = self._next()
        chunk, self._waiting = self._waiting[:size], self._waiting[size:]
        return chunk

    def _next(self) -> bytes:
        # In a context of its own. While it receives, the server may begin to listen on the line
        # again, and whoever listens keeps the context of that moment for all requests that come
        # on this line later. With the view's they would look for its thread, which is gone by then:
        # a proxy holds a line for many visitors, and their files would end in the middle.
        future = Context().run(
            asyncio.run_coroutine_threadsafe,
            asyncio.wait_for(self._receive(), SILENCE_S),  # type: ignore[arg-type]
            self._loop,
        )
        try:
            message = future.result()
        except TimeoutError:
            raise BrokenOff("The sender fell silent.") from None
        except CancelledError:
            raise BrokenOff("The server stops.") from None
        if message["type"] == "http.disconnect":
            self._more = False
            raise BrokenOff("The sender went away.")
        self._more = message.get("more_body", False)
        body: bytes = message.get("body", b"")
        return body

    def close(self) -> None:
        """Nothing to close: what was not read is the server's to drop."""


class StreamingHandler(ASGIHandler):
    """Django's handler, but for the addresses below STREAMED_BELOW."""

    async def handle(self, scope: Any, receive: Any, send: Send) -> None:
        if scope["method"] in STREAMED_METHODS and scope["path"].startswith(STREAMED_BELOW):
            receive = StreamedBody(receive, asyncio.get_running_loop())
        await super().handle(scope, receive, send)

    async def read_body(self, receive: Any) -> Any:
        return receive if isinstance(receive, StreamedBody) else await super().read_body(receive)

    async def listen_for_disconnect(self, receive: Any) -> None:
        """While a body is streamed its reader notices, and what came is stored all the same."""
        if isinstance(receive, StreamedBody):
            await asyncio.Event().wait()
        await super().listen_for_disconnect(receive)
