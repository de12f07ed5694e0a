"""From where an edit came: kept beside who made it, for every change that the triggers record."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Any

import pghistory
from allauth.account.adapter import get_adapter
from celery.signals import task_postrun, task_prerun
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.http import HttpRequest
from pghistory.middleware import HistoryMiddleware

from jobs.secret_paths import without_secret

_open_tasks: dict[str, ExitStack] = {}


class HistoryFromWhere(HistoryMiddleware):
    """Who and which address of ours, as the library has it, and the network address besides."""

    def get_context(self, request: HttpRequest) -> dict[str, Any]:
        known = super().get_context(request)
        where = {"url": without_secret(known["url"]), "from": _network_address(request)}
        return {**known, **where}


def _network_address(request: HttpRequest) -> str:
    try:
        return str(get_adapter(request).get_client_ip(request) or "")
    except (ImproperlyConfigured, PermissionDenied):  # a proxy that does not say
        return ""


@task_prerun.connect(dispatch_uid="jobs.history.task_begins")
def task_begins(task_id: str, task: Any, **_: Any) -> None:
    """What a task changes is told as the task's."""
    stack = ExitStack()
    stack.enter_context(pghistory.context(task=task.name))
    _open_tasks[task_id] = stack


@task_postrun.connect(dispatch_uid="jobs.history.task_ends")
def task_ends(task_id: str, **_: Any) -> None:
    stack = _open_tasks.pop(task_id, None)
    if stack is not None:
        stack.close()
