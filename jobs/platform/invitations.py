"""Inviting a person to set a password: nobody else ever types it."""

from __future__ import annotations

from allauth.account.app_settings import PASSWORD_RESET_TOKEN_GENERATOR
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse

from jobs.errors import Refused
from jobs.models import Role, User

SECONDS_A_DAY = 24 * 3600


def awaits_password(user: User) -> bool:
    """Whether the account is open and nobody has set its password yet."""
    return user.is_active and not user.has_usable_password()


def link_shown_to(viewer: User, person: User) -> str:
    """The link where the platform admin may pass it on; empty for everybody else.

    A planner who saw it could set a compliance officer's password and answer for both.
    """
    if viewer.role != Role.PLATFORM_ADMIN or not awaits_password(person):
        return ""
    return invitation_link(person)


def days_to_set_password() -> int:
    """How long an invitation holds [days]."""
    return int(settings.PASSWORD_RESET_TIMEOUT // SECONDS_A_DAY)


def invitation_link(user: User) -> str:
    """The address where the person sets its password. Works once, and for a few days.

    Raises:
        Refused: the account is closed, or its password is set: a link would let whoever reads
            it into somebody's account.
    """
    if not user.is_active:
        raise Refused("This account is closed.", remedy="Reopen it first.")
    if not awaits_password(user):
        raise Refused(
            f"{user} has set a password already.",
            remedy="Who forgot it asks for a new one on the sign-in page.",
        )
    key = PASSWORD_RESET_TOKEN_GENERATOR().make_token(user)
    where = reverse(
        "account_reset_password_from_key", kwargs={"uidb36": user_pk_to_url_str(user), "key": key}
    )
    return settings.PUBLIC_ADDRESS.rstrip("/") + where


def invite(user: User) -> None:
    """Send the invitation once the account is committed. Refuses as `invitation_link` does."""
    from jobs.tasks import send_invitation  # the task calls this module

    invitation_link(user)
    transaction.on_commit(lambda: send_invitation.delay(user.pk), robust=True)


def send_invitation_mail(user: User) -> bool:
    """Mail the link, unless the password was set or the account closed meanwhile."""
    if not awaits_password(user):
        return False
    text = render_to_string(
        "jobs/people/invitation.txt",
        {"person": user, "link": invitation_link(user), "days": days_to_set_password()},
    )
    send_mail("Your Eavesbook account", text, settings.DEFAULT_FROM_EMAIL, [user.email])
    return True
