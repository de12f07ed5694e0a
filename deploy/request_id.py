"""An id for each request, in its log lines, its answer, and the tasks that it sends."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Awaitable, Callable
from contextvars import ContextVar
from typing import Any

from asgiref.sync import iscoroutinefunction
from celery.signals import before_task_publish, task_postrun, task_prerun
from django.http import HttpRequest, HttpResponseBase
from django.utils.decorators import sync_and_async_middleware

from jobs.secret_paths import without_secret

HEADER = "X-Request-Id"
NO_REQUEST = "-"
# Asked for every few seconds, or once a picture; their lines would hide the others.
UNLOGGED_PATHS = ("/health/", "/static/")
WELL_FORMED = re.compile(r"[A-Za-z0-9._-]{8,64}")

logger = logging.getLogger("eavesbook.requests")

current_request_id: ContextVar[str] = ContextVar("current_request_id", default=NO_REQUEST)


def choose_request_id(offered: str | None) -> str:
    """The id that a proxy offers if it is harmless in a log line, else a new one."""
    if offered and WELL_FORMED.fullmatch(offered):
        return offered
    return uuid.uuid4().hex


def begin(request: HttpRequest) -> tuple[str, float]:
    """Choose the request's id and note when it came, by `time.monotonic()` in seconds."""
    request_id = choose_request_id(request.headers.get(HEADER))
    current_request_id.set(request_id)
    return request_id, time.monotonic()


def end(request: HttpRequest, response: HttpResponseBase, begun: tuple[str, float]) -> None:
    """Put the id on the answer and a line in the log, without the query, which may be private."""
    request_id, started = begun
    response[HEADER] = request_id
    if not request.path.startswith(UNLOGGED_PATHS):
        took_ms = (time.monotonic() - started) * 1000
        path = without_secret(request.path)
        logger.info("%s %s %d %.0f ms", request.method, path, response.status_code, took_ms)


@sync_and_async_middleware
def request_id_middleware(
    get_response: Callable[[HttpRequest], Any],
) -> Callable[[HttpRequest], HttpResponseBase] | Callable[[HttpRequest], Awaitable[Any]]:
    """Set the id before anything else runs, and log the request when it is answered."""
    if iscoroutinefunction(get_response):

        async def answer_async(request: HttpRequest) -> HttpResponseBase:
            begun = begin(request)
            response: HttpResponseBase = await get_response(request)
            end(request, response, begun)
            return response

        return answer_async

    def answer(request: HttpRequest) -> HttpResponseBase:
        begun = begin(request)
        response: HttpResponseBase = get_response(request)
        end(request, response, begun)
        return response

    return answer


class RequestIdFilter(logging.Filter):
    """Give every log record the id of the request, or task, that it belongs to."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.request_id = current_request_id.get()
        return True


@before_task_publish.connect
def send_request_id(headers: dict[str, Any] | None = None, **_: Any) -> None:
    """A task carries the id of the request that sent it."""
    if headers is not None:
        headers["eavesbook_request_id"] = current_request_id.get()


@task_prerun.connect
def take_request_id(task: Any = None, **_: Any) -> None:
    """A worker logs under the id that came with the task."""
    headers = getattr(task.request, "headers", None) or {}
    carried = getattr(task.request, "eavesbook_request_id", None)
    current_request_id.set(carried or headers.get("eavesbook_request_id") or NO_REQUEST)


@task_postrun.connect
def drop_request_id(task: Any = None, **_: Any) -> None:
    """Outside tasks a worker has no request; a task run in place leaves its caller's id alone."""
    if not getattr(task.request, "is_eager", False):
        current_request_id.set(NO_REQUEST)
