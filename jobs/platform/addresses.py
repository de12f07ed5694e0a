"""Another e-mail address to sign in with: it counts once a link that was mailed there is opened.

The link takes the person's password too, so that nobody who keeps accounts can take one along to
a mailbox of their own. It holds the account's version: whatever is changed afterwards, another
address asked for included, ends it. Sessions and API tokens stay; the former address is told.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass

import pghistory
from allauth.account.models import EmailAddress
from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.core.validators import validate_email
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import User
from jobs.platform.invitations import awaits_password, days_to_set_password, invite
from jobs.platform.keeping import lock_at, refuse_taken, store_edit
from jobs.platform.people import check_keeps

logger = logging.getLogger(__name__)

SALT = "jobs.platform.addresses"


@dataclass(frozen=True, slots=True)
class Asked:
    """The address that a link is about, for an account as it stood at a version."""

    person: User
    email: str


def ask_address(person: User, email: str, *, by: User, version: int | None = None) -> User:
    """Mail a link to the new address of an account, and word of it to the present one.

    Where no password was set yet, nothing is there to be taken: the address is put right at once,
    and the invitation goes there.

    Raises:
        Stale: somebody changed the account since it was read at `version`.
        Refused: no such address can be, `by` neither keeps this account nor is it, or it is closed.
        Conflict: the address has an account.
    """
    wanted = _normalized(email)
    with refusals_explained():
        stored = lock_at(person, version)
        _check_may_ask(stored, by, wanted)
        was, stored.email = stored.email, wanted
        _refuse_taken(stored)
        if awaits_password(stored):
            _invite_there(stored, was)
        else:
            stored.email = was
            store_edit(stored)  # which ends every link that was sent before
            _send_link(stored, wanted, by)
    logger.info("another address of account %s asked for by %s", stored.pk, by.pk)
    return stored


def ask_own_address(person: User, email: str) -> None:
    """Ask for another address of one's own, without learning who else has an account.

    Nothing differs for the person where the address is taken: it might be of another company. Word
    comes to the present address in either case, the link never.

    Raises:
        Refused: as for `ask_address`, but for an address that is taken.
    """
    try:
        ask_address(person, email, by=person)
    except Conflict:
        _tell(person, person.email, _normalized(email), "asked")


def asked_by(key: str) -> Asked:
    """What the key of a link is about.

    Raises:
        Refused: it was cut short, is too old, was used, or the account was changed since.
    """
    over = Refused(
        "This link no longer works.", remedy="Ask for the change again and use the newest link."
    )
    try:
        told = signing.loads(key, salt=SALT, max_age=settings.PASSWORD_RESET_TIMEOUT)
    except signing.BadSignature:
        raise over from None
    person = User.objects.filter(pk=told["person"], version=told["version"], is_active=True).first()
    if person is None:
        raise over
    return Asked(person, told["email"])


def confirm_address(asked: Asked) -> User:
    """From now on the person signs in with the address. Make sure first that it is the person.

    Raises:
        Stale: the account was changed since the link was opened.
        Conflict: another account took the address meanwhile.
    """
    with pghistory.context(user=asked.person.pk, what="address changed"), refusals_explained():
        stored = lock_at(asked.person, asked.person.version)
        was, stored.email = stored.email, asked.email
        _refuse_taken(stored)
        store_edit(stored)
        EmailAddress.objects.filter(user=stored).delete()  # else the former one might still do
        _tell(stored, was, stored.email, "changed")
    logger.info("address of account %s changed", stored.pk)
    return stored


def send_link_mail(person: User, email: str, version: int) -> bool:
    """Mail the link, unless the account was changed meanwhile."""
    if not person.is_active or person.version != version:
        return False
    told = {"person": person.pk, "email": email, "version": version}
    key = signing.dumps(told, salt=SALT, compress=True)
    link = settings.PUBLIC_ADDRESS.rstrip("/") + reverse("account_address_confirm", args=[key])
    context = {"person": person, "email": email, "link": link, "days": days_to_set_password()}
    _mail(email, "Your new address for Eavesbook", "jobs/people/address_link.txt", context)
    return True


def tell_former(person: User, former: str, email: str, what: str, by: str) -> None:
    """Tell the address that counts, or counted so far, what is asked for or was done."""
    context = {"person": person, "former": former, "email": email, "what": what, "by": by}
    _mail(former, "The address of your Eavesbook account", "jobs/people/address_told.txt", context)


def _mail(to: str, subject: str, template: str, context: dict[str, object]) -> None:
    send_mail(subject, render_to_string(template, context), settings.DEFAULT_FROM_EMAIL, [to])


def _normalized(email: str) -> str:
    wanted = User.objects.normalize_email(email.strip()).lower()
    try:
        validate_email(wanted)
    except ValidationError as error:
        raise Refused(
            "This is no e-mail address.", field="email", remedy="Give one such as ada@example.org."
        ) from error
    return wanted


def _check_may_ask(person: User, by: User, wanted: str) -> None:
    if person.pk != by.pk:
        check_keeps(by, person)
    if not person.is_active:
        raise Refused("This account is closed.", field="email", remedy="Reopen it first.")
    if person.email.lower() == wanted:
        raise Refused(
            f"{person} signs in with this address already.",
            field="email",
            remedy="Give the new one.",
        )


def _refuse_taken(person: User) -> None:
    refuse_taken(
        person,
        "email",
        "This e-mail address has an account",
        "Each person signs in with an address of its own.",
    )


def _invite_there(person: User, was: str) -> None:
    person.set_unusable_password()  # another one: the invitation that was sent no longer works
    store_edit(person)
    invite(person)
    _tell(person, was, person.email, "corrected")


def _send_link(person: User, wanted: str, by: User) -> None:
    from jobs.tasks import send_address_link  # the task calls this module

    sent = (person.pk, wanted, person.version)
    transaction.on_commit(lambda: send_address_link.delay(*sent), robust=True)
    _tell(person, person.email, wanted, "asked", "" if by.pk == person.pk else str(by))


def _tell(person: User, former: str, email: str, what: str, by: str = "") -> None:
    from jobs.tasks import tell_former_address

    told = (person.pk, former, email, what, by)
    transaction.on_commit(lambda: tell_former_address.delay(*told), robust=True)
