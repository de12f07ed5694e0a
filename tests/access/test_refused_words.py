"""No page loses what was given to it: refused, it comes back with every word and choice in it.

The forms are read from the pages themselves, filled in and sent while the database takes nothing
that they would write, so a new page is tried here without anybody's doing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection
from django.urls import resolve, reverse

from jobs.errors import Refused
from tests.access import registry
from tests.access.addresses import ADDRESSES
from tests.access.forms_of_pages import TYPED, Form, FormReader
from tests.access.visitor import Answer, Visitor, content_of, undone
from tests.access.worlds import World

pytestmark = pytest.mark.django_db

# Where each fills in most forms of its own. An installer's go through the phone's queue, which
# keeps what was not taken; a surveyor fills in the planner's.
WHERE = {
    "planner": "/",
    "compliance_officer": ("/proof/", "/findings/"),
    "auditor": ("/audit/", "/findings/"),
    "platform_admin": ("/platform/", "/people/"),
}
WRITES = ("INSERT", "UPDATE", "DELETE")
NOTED_ANYWAY = ("django_session", "evidenceaccess")
"""Signing in, and that somebody looked: written whether or not the act is refused."""
FILES = (".pdf", ".zip", ".csv", ".ics", ".txt")
REFUSED = (200, 422)


@contextmanager
def every_write_refused() -> Iterator[None]:
    """As if each record had been changed by somebody else in that moment."""

    def refuse(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        if sql.startswith(WRITES) and not any(name in sql for name in NOTED_ANYWAY):
            raise Refused("This cannot be written now.", remedy="Try it tomorrow.")
        return execute(sql, *rest)

    with connection.execute_wrapper(refuse):
        yield


def pages_of(role: str, world: World) -> Iterator[str]:
    for address in ADDRESSES:
        shown = not address.is_api and address.name not in registry.OPEN
        shown = shown and address.route.startswith(WHERE[role])
        if shown and role in address.read_roles and registry.sees(address, role, "own"):
            url = registry.url_in(address, world)
            if not url.endswith(FILES):
                yield url
    # Where THINGS name a record that is past what some form is for.
    yield reverse("verdict", args=[world.shortfall.job_id])
    yield reverse("job", args=[world.draft_job.pk])


def forms_of(visitor: Visitor, pages: Iterator[str]) -> Iterator[Form]:
    """Each form once, however many pages offer it."""
    seen = set()
    for page in pages:
        answer = visitor.ask("GET", page)
        if answer.status != 200 or "html" not in answer.headers.get("Content-Type", ""):
            continue
        for form in FormReader(page, answer.text).found:
            kind = (resolve(form.action.partition("?")[0]).view_name, form.names)
            if form.takes_words and kind not in seen:
                seen.add(kind)
                yield form


def sent(visitor: Visitor, form: Form, given: dict[str, list[str]]) -> Answer:
    with undone(), every_write_refused():
        answer = visitor.client.post(form.action, given)
        return Answer(answer.status_code, content_of(answer), answer.headers)


def lost(form: Form, given: dict[str, list[str]], answer: Answer) -> list[str]:
    """The names of what the answer does not hold any more."""
    if answer.status not in REFUSED:
        return list(form.names)
    offered = [f for f in FormReader(form.action, answer.text).found if f.action == form.action]
    back = next((f.holds() for f in offered if set(form.names) <= set(f.names)), None)
    if back is None:  # the page has no such form any more: what was typed is there to be copied
        return [name for name in form.names if given[name] == [TYPED] and TYPED not in answer.text]
    return [name for name in form.names if not set(given[name]) <= back[name]]


@pytest.mark.parametrize("role", WHERE)
def test_what_was_given_comes_back(
    visitors: dict[str, Visitor], worlds: dict[str, World], role: str
):
    tried, losing = 0, {}
    for form in forms_of(visitors[role], pages_of(role, worlds["own"])):
        for button in form.buttons or [None]:
            given = form.filled() | ({button[0]: [button[1]]} if button else {})
            gone = lost(form, given, sent(visitors[role], form, given))
            tried += 1
            if gone:
                losing[f"{form.action} {button or ''}"] = gone
    assert tried
    assert losing == {}
