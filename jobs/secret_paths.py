"""Addresses of ours whose end is a secret: neither logs nor histories keep it."""

from __future__ import annotations

import re

# Who reads a log must not read a calendar, set a password, or make an address count.
SECRET_PATHS = ("/calendars/", "/account/password/reset/key/", "/account/address/confirm/")
_SECRETS = re.compile(rf"({'|'.join(map(re.escape, SECRET_PATHS))})[^\s\"']+")


def without_secret(path: str) -> str:
    """The path, or only its beginning where the rest is a secret."""
    for beginning in SECRET_PATHS:
        if path.startswith(beginning):
            return f"{beginning}..."
    return path


def without_secrets(text: str) -> str:
    """The text, only the beginning left of each path whose rest is a secret."""
    return _SECRETS.sub(r"\1...", text)
