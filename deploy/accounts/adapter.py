"""How allauth treats accounts here."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ClosedAccountAdapter(DefaultAccountAdapter):
    """Accounts are made by a company's office or the platform, never by a stranger."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False
