"""`migrate` as Django has it, in half the time: a new trigger has no model rendered again.

Each of pgtrigger's operations renders the model, and all that refer to it, once more, though a
trigger changes no column and its operation writes SQL of its own. With hundreds of triggers that
was half of the time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

from django.core.management.commands.migrate import Command as DjangoCommand
from django.db.migrations.state import ProjectState
from pgtrigger.migrations import AddTrigger, RemoveTrigger


class Command(DjangoCommand):
    def handle(self, *args: Any, **options: Any) -> None:
        with triggers_render_nothing():
            super().handle(*args, **options)


@contextmanager
def triggers_render_nothing() -> Iterator[None]:
    """Let pgtrigger's operations change the state of migrations and leave what is rendered."""
    with ExitStack() as stack:
        for operation in (AddTrigger, RemoveTrigger):
            told = _without_rendering(operation.state_forwards)
            stack.enter_context(patch.object(operation, "state_forwards", told))
        yield


def _without_rendering(state_forwards: Callable[..., None]) -> Callable[..., None]:
    def told(operation: Any, app_label: str, state: ProjectState) -> None:
        with patch.object(state, "reload_model", lambda *_, **__: None):
            state_forwards(operation, app_label, state)

    return told
