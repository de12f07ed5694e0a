"""How allauth treats accounts here."""

from __future__ import annotations

from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.http import HttpRequest


class ClosedAccountAdapter(DefaultAccountAdapter):
    """Accounts are made by a company's office or the platform, never by a stranger."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_reset_password_from_key_url(self, key: str) -> str:
        """To our own address, whatever host was named by whoever asked: it may be a stranger."""
        path = urlsplit(super().get_reset_password_from_key_url(key)).path
        return f"{settings.PUBLIC_ADDRESS.rstrip('/')}{path}"
