"""The sign-ins of the demo's invented people, where they may be shown."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth import get_user_model

from deploy.demo import SIGN_INS


@dataclass(frozen=True)
class DemoPerson:
    """One of the demo's people; `role` is in words."""

    who: str
    role: str
    email: str
    password: str


def demo_sign_ins() -> list[DemoPerson]:
    """The demo's people who are in this database."""
    emails = [entry.email for entry in SIGN_INS]
    known = set(get_user_model().objects.filter(email__in=emails).values_list("email", flat=True))
    return [
        DemoPerson(entry.who, entry.role.replace("_", " "), entry.email, entry.password)
        for entry in SIGN_INS
        if entry.email in known
    ]
