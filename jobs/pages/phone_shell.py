"""The frame of the on-site pages that a phone keeps: styles, scripts, and their version."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.templatetags.static import static
from django.urls import reverse

MODULES = (
    "bar",
    "channel",
    "clock",
    "drawing",
    "export",
    "forms",
    "geometry",
    "hash",
    "keeping",
    "list",
    "main",
    "needed",
    "office",
    "overlay",
    "photos",
    "points",
    "position",
    "readings",
    "sender",
    "signature",
    "stopped",
    "store",
    "uploads",
    "verdict",
    "words",
    "worker",
)
"""The scripts of deploy/static/on_site/; a test holds that none is forgotten."""

FILES = (
    "eavesbook.css",
    "on_site.css",
    "yard.css",
    "audit_reading.css",
    "app.js",
    "audit_measuring.js",
    "vendor/htmx/htmx-2.0.11.min.js",
    "vendor/tus/tus-4.3.1.min.js",
    "icons/eavesbook.svg",
    *(f"on_site/{name}.js" for name in MODULES),
)


@dataclass(frozen=True, slots=True)
class Shell:
    """urls: what a phone keeps to show any on-site page. named: by content, so never stale."""

    version: str
    urls: tuple[str, ...]
    named: bool


@lru_cache(maxsize=1)
def shell() -> Shell:
    """The shell as this process serves it."""
    urls = tuple(static(name) for name in FILES)
    named = bool(getattr(staticfiles_storage, "hashed_files", None))
    version = _digest(urls) if named else _digest([_content(name) for name in FILES])
    return Shell(version, (*urls, reverse("on_site_no_signal")), named)


def _digest(parts: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _content(name: str) -> str:
    """Digest of a static file's bytes, where its name does not tell them."""
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(f"The static file {name} of the on-site shell is missing.")
    with open(found, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
