"""Accounts: opening one, closing and reopening it, changing what a person is.

A platform admin keeps them all; a planner opens and closes those of its own company.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace

from rest_framework.authtoken.models import Token

from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.models import Company, Operative, Role, Scheme, User
from jobs.models.people import COMPANY_ROLES
from jobs.platform.invitations import invite
from jobs.platform.keeping import lock_at, refuse_taken, store_edit

logger = logging.getLogger(__name__)

SITE_ROLES = (Role.INSTALLER, Role.SURVEYOR)  # who may be an operative's sign-in


@dataclass(frozen=True, slots=True)
class Capacity:
    """What a person is: a role, and the company or scheme that the role demands."""

    role: str
    company: Company | None = None
    scheme: Scheme | None = None


@dataclass(frozen=True, slots=True)
class Name:
    first: str
    last: str = ""


def roles_opened_by(user: User) -> tuple[Role, ...]:
    """The roles a person may open accounts for."""
    if user.role == Role.PLATFORM_ADMIN:
        return tuple(Role)
    return COMPANY_ROLES if user.role == Role.PLANNER else ()


def open_account(email: str, name: Name, capacity: Capacity, *, by: User) -> User:
    """A new account without a password, and an invitation to set one by mail.

    A planner's company is the account's, whether said or not.

    Raises:
        Refused: a value cannot be, or `by` may not open such an account (names the field).
        Conflict: the e-mail address has an account.
    """
    capacity = _of_own_company(capacity, by)
    _check_fits(capacity)
    person = User(email=User.objects.normalize_email(email.strip()).lower())
    person.set_unusable_password()
    _set_name(person, name)
    _set_capacity(person, capacity)
    with refusals_explained():
        refuse_invalid(person)
        refuse_taken(
            person,
            "email",
            "This e-mail address has an account",
            "Each person signs in with an address of its own; a closed account can be reopened.",
        )
        person.save()
        invite(person)
    logger.info("account %s opened by %s", person.pk, by.pk)
    return person


def close_account(person: User, *, by: User, version: int | None = None) -> User:
    """Let a person in no more: its sessions and API tokens end, its records stay.

    Closing what is closed changes nothing.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: `by` does not keep this account, or it is its own.
        Conflict: no other platform admin could sign in.
    """
    with refusals_explained():
        _lock_admins()
        stored = lock_at(person, version)
        check_keeps(by, stored)
        if not stored.is_active:
            return stored
        _refuse_last_admin(stored, "is_active")
        if stored.pk == by.pk:
            raise Refused(
                "You cannot close your own account.",
                field="is_active",
                remedy="Ask another planner of yours or a platform admin.",
            )
        _end_sign_ins(stored)
        store_edit(stored)
    logger.info("account %s closed by %s", stored.pk, by.pk)
    return stored


def _end_sign_ins(person: User) -> None:
    person.is_active = False
    person.times_closed += 1
    if not person.has_usable_password():
        person.set_unusable_password()  # another one: an invitation under way no longer works
    Token.objects.filter(user=person).delete()


def reopen_account(person: User, *, by: User, version: int | None = None) -> User:
    """Let a person in again, with the password it had; without one, invited anew.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: `by` does not keep this account.
    """
    with refusals_explained():
        stored = lock_at(person, version)
        check_keeps(by, stored)
        if stored.is_active:
            return stored
        stored.is_active = True
        store_edit(stored)
        if not stored.has_usable_password():
            invite(stored)
    logger.info("account %s reopened by %s", stored.pk, by.pk)
    return stored


def change_person(
    person: User, name: Name, capacity: Capacity, *, by: User, version: int | None = None
) -> User:
    """Another name, or another capacity that the database's rule allows.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: `by` is no platform admin, would change its own role, or a value cannot be.
        Conflict: no other platform admin could sign in, or an operative of a crew signs in so.
    """
    if by.role != Role.PLATFORM_ADMIN:
        raise Refused(
            "Only a platform admin changes names and roles.",
            field="role",
            remedy="Close this account and open another, or ask a platform admin.",
        )
    _check_fits(capacity)
    with refusals_explained():
        _lock_admins()
        stored = lock_at(person, version)
        if (stored.role, stored.company, stored.scheme) != (
            capacity.role,
            capacity.company,
            capacity.scheme,
        ):
            _check_may_become(stored, capacity, by)
        _set_name(stored, name)
        _set_capacity(stored, capacity)
        store_edit(stored)
    logger.info("account %s changed by %s", stored.pk, by.pk)
    return stored


def _check_may_become(person: User, capacity: Capacity, by: User) -> None:
    if capacity.role != Role.PLATFORM_ADMIN:
        _refuse_last_admin(person, "role")
    if person.pk == by.pk:
        raise Refused(
            "You cannot change your own role.",
            field="role",
            remedy="Ask another platform admin.",
        )
    stays = capacity.role in SITE_ROLES and capacity.company == person.company
    operative = Operative.objects.select_related("crew").filter(user=person).first()
    if operative is not None and not stays:
        raise Conflict(
            f"{person} is the sign-in of the operative {operative}.",
            field="role",
            remedy="Have the planner take it off that operative at Crews first.",
        )


def _of_own_company(capacity: Capacity, by: User) -> Capacity:
    if by.role == Role.PLATFORM_ADMIN:
        return capacity
    if by.role != Role.PLANNER:
        raise Refused(
            "You may not open accounts.", remedy="Ask your planner or the platform's admin."
        )
    if capacity.role not in COMPANY_ROLES:
        raise Refused(
            "A planner opens no account of this role.",
            field="role",
            remedy="Choose planner, surveyor, installer or compliance officer; "
            "the platform's admin opens the others.",
        )
    if capacity.company not in (None, by.company):
        raise Refused("This is not your company.", field="company", remedy="Leave it out.")
    return replace(capacity, company=by.company)


def check_keeps(by: User, person: User) -> None:
    own = by.role == Role.PLANNER and person.company_id == by.company_id
    if by.role != Role.PLATFORM_ADMIN and not own:
        raise Refused(
            "This account is not yours to keep.", remedy="Ask its planner or the platform's admin."
        )


def _check_fits(capacity: Capacity) -> None:
    """The rule that the database holds too, told field by field."""
    if capacity.role not in Role:
        raise Refused(
            f"There is no role “{capacity.role}”.",
            field="role",
            remedy=f"Choose one of {', '.join(Role.values)}.",
        )
    label = Role(capacity.role).label
    demanded = {
        "company": (capacity.company, capacity.role in COMPANY_ROLES),
        "scheme": (capacity.scheme, capacity.role == Role.AUDITOR),
    }
    for field, (given, needed) in demanded.items():
        if needed and given is None:
            raise Refused(
                f"{label}: this role needs a {field}.", field=field, remedy=f"Choose the {field}."
            )
        if given is not None and not needed:
            raise Refused(
                f"{label}: this role has no {field}.", field=field, remedy="Leave it empty."
            )


def _lock_admins() -> None:
    """One at a time, so that two admins who close each other do not both succeed."""
    list(User.objects.select_for_update().active_as(Role.PLATFORM_ADMIN).order_by("pk"))


def _refuse_last_admin(person: User, field: str) -> None:
    others = User.objects.active_as(Role.PLATFORM_ADMIN).exclude(pk=person.pk)
    if person.role == Role.PLATFORM_ADMIN and person.is_active and not others.exists():
        raise Conflict(
            "This is the last platform admin who can sign in.",
            field=field,
            remedy="Open an account for another platform admin first.",
        )


def _set_name(person: User, name: Name) -> None:
    person.first_name, person.last_name = name.first.strip(), name.last.strip()
    if not person.first_name and not person.last_name:
        raise Refused(
            "The person has no name.", field="first_name", remedy="Give at least one name."
        )


def _set_capacity(person: User, capacity: Capacity) -> None:
    person.role, person.company, person.scheme = capacity.role, capacity.company, capacity.scheme
