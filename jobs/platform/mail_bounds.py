"""How often one person, and one network address, can have mail sent to addresses they choose."""

from __future__ import annotations

from allauth.core import ratelimit
from django.http import HttpRequest

from jobs.errors import Refused


class TooOften(Refused):
    status = 429


def refuse_too_often(request: HttpRequest, email: str) -> None:
    """Count one more; the bounds are those of mailing links for a new password.

    Raises:
        TooOften: more than `ACCOUNT_RATE_LIMITS` allows from here, or to this address.
    """
    if not ratelimit.consume(request, action="reset_password", key=email.strip().lower()):
        raise TooOften(
            "Too many links were asked for.", field="email", remedy="Wait a minute and try again."
        )
