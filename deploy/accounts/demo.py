"""The sign-ins of the demo's invented people, where they may be shown."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import get_user_model


def demo_sign_ins() -> list[Any]:
    """The demo's people who are in this database, each with who, role, email and password."""
    try:
        from deploy.demo import SIGN_INS
    except ImportError:
        return []
    emails = [entry.email for entry in SIGN_INS]
    known = set(get_user_model().objects.filter(email__in=emails).values_list("email", flat=True))
    return [entry for entry in SIGN_INS if entry.email in known]
