"""Somebody who tries addresses. Whatever an attempt changes is undone at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from django.db import transaction
from django.test import Client
from django.urls import reverse

from jobs.models import User
from tests.access.worlds import ROLES, SECRETS, WORLDS, World

ANONYMOUS = "anonymous"
EVERYBODY = (*ROLES, ANONYMOUS)

# The worlds that a person of the own world sees anything of.
SEES: dict[str, frozenset[str]] = {
    "planner": frozenset({"own", "other_crew", "other_scheme"}),
    "surveyor": frozenset({"own", "other_crew", "other_scheme"}),
    "compliance_officer": frozenset({"own", "other_crew", "other_scheme"}),
    "installer": frozenset({"own"}),
    "auditor": frozenset({"own", "other_crew", "other_company"}),
    "platform_admin": frozenset(),
    ANONYMOUS: frozenset(),
}


@contextmanager
def undone() -> Iterator[None]:
    """Undo all that the block writes to the database."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


@dataclass(frozen=True)
class Answer:
    status: int
    text: str
    headers: Any

    @property
    def leads_to_sign_in(self) -> bool:
        to = urlsplit(self.headers.get("Location", "")).path
        return self.status == 302 and to == reverse("account_login")


class Visitor:
    """A person of the own world in a role, or "anonymous"; signed in once for all attempts."""

    def __init__(self, role: str, worlds: dict[str, World]) -> None:
        self.role = role
        self.user: User | None = worlds["own"].people.get(role)
        self.signed_in = Client()
        if self.user is not None:
            self.signed_in.force_login(self.user)

    @property
    def client(self) -> Client:
        """A browser that has kept nothing but the sign-in."""
        client = Client()
        client.cookies.load(self.signed_in.cookies.output(header=""))
        return client

    def ask(self, method: str, url: str, data: Any = None, **headers: str) -> Answer:
        """An empty form unless `data` is given, which is sent as JSON."""
        sent: dict[str, Any] = {"headers": headers} if headers else {}
        if data is not None or method in ("PUT", "PATCH", "DELETE"):
            sent |= {"data": data or {}, "content_type": "application/json"}
        with undone():
            answer = getattr(self.client, method.lower())(url, **sent)
            text = content_of(answer)
        return Answer(answer.status_code, text, answer.headers)

    def form(self, url: str, data: dict[str, Any]) -> Answer:
        with undone():
            answer = self.client.post(url, data)
            text = content_of(answer)
        return Answer(answer.status_code, text, answer.headers)


def content_of(answer: Any) -> str:
    parts = answer.streaming_content if answer.streaming else [answer.content]
    return b"".join(parts).decode("utf-8", "replace")


def householders_told(answer: Answer) -> list[str]:
    """What the answer says of who lives in a home of any world, and how to get in."""
    words = [(f"Householder {s}", f"home1@{s.lower()}", f"Key at {s}") for s in SECRETS.values()]
    return [word for three in words for word in three if word in answer.text]


def strangers_told(answer: Answer, role: str) -> list[str]:
    """The words of worlds that this person has no part in, as far as the answer has them."""
    unseen = [SECRETS[world] for world in WORLDS if world not in SEES[role]]
    return [secret for secret in unseen if secret in answer.text]
