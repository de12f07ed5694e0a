"""Tokens of the API end with the password they were given for."""

from __future__ import annotations

import logging
from typing import Any

from allauth.account.signals import password_changed, password_reset
from rest_framework.authtoken.models import Token

from jobs.models import User

logger = logging.getLogger(__name__)


def connect() -> None:
    """Hear of passwords that are changed. Called once, when the app is ready."""
    for signal in (password_changed, password_reset):
        signal.connect(end_tokens, dispatch_uid="jobs.platform.tokens")


def end_tokens(sender: Any, *, user: User, **_: Any) -> None:
    """Whoever changes its password because another has it would keep that other as a reader."""
    if Token.objects.filter(user=user).delete()[0]:
        logger.info("the API token of account %s ended with its password", user.pk)
