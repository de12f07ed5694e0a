from __future__ import annotations

import pytest
from django.test import Client

from deploy.content_security import header_value

pytestmark = pytest.mark.django_db


def test_a_policy_becomes_the_headers_text() -> None:
    """The grammar of W3C Content Security Policy Level 3, section 2.2 (serialized policy)."""
    policy = {"default-src": ["'self'"], "img-src": ["'self'", "data:"]}
    assert header_value(policy) == "default-src 'self'; img-src 'self' data:"


def test_every_page_may_load_from_this_service_only(client: Client) -> None:
    header = client.get("/account/sign-in/")["Content-Security-Policy"]
    directives = {part.split()[0]: part.split()[1:] for part in header.split("; ")}
    assert directives["default-src"] == ["'self'"]
    assert directives["frame-ancestors"] == ["'none'"]
    assert "'unsafe-inline'" not in header
    assert "'unsafe-eval'" not in header
