"""Who signs in, and in which capacity."""

from __future__ import annotations

from typing import Any, ClassVar

import pghistory
from django.contrib.auth.models import AbstractUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.utils.crypto import salted_hmac

from jobs.managers import PeopleQuerySet
from jobs.models.organisations import Company, Scheme


class Role(models.TextChoices):
    PLANNER = "planner", "Planner"
    SURVEYOR = "surveyor", "Surveyor"
    INSTALLER = "installer", "Installer"
    COMPLIANCE_OFFICER = "compliance_officer", "Compliance officer"
    AUDITOR = "auditor", "Scheme auditor"
    PLATFORM_ADMIN = "platform_admin", "Platform admin"


COMPANY_ROLES = (Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER)


class UserManager(BaseUserManager.from_queryset(PeopleQuerySet)):  # type: ignore[misc]
    use_in_migrations = True

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        if not email:
            raise ValueError("email: a person signs in with an e-mail address; give one.")
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        fields["role"] = Role.PLATFORM_ADMIN
        return self.create_user(email, password, **fields)

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email__iexact=username)


@pghistory.track(exclude=["password", "last_login"])
class User(AbstractUser):
    """A person with one capacity: of a company, of a scheme, or of the platform."""

    username = None  # type: ignore[assignment]
    email = models.EmailField("e-mail address", unique=True)
    role = models.CharField(max_length=20, choices=Role)
    company = models.ForeignKey(
        Company, null=True, blank=True, on_delete=models.PROTECT, related_name="people"
    )
    scheme = models.ForeignKey(
        Scheme, null=True, blank=True, on_delete=models.PROTECT, related_name="auditors"
    )
    version = models.PositiveIntegerField(default=1)
    times_closed = models.PositiveIntegerField(
        default=0, help_text="Sessions from before the last closing stay ended when it reopens."
    )

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[UserManager] = UserManager()  # type: ignore[assignment]

    class Meta:
        ordering = ["email"]
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(role__in=COMPANY_ROLES, company__isnull=False, scheme__isnull=True)
                    | Q(role=Role.AUDITOR, company__isnull=True, scheme__isnull=False)
                    | Q(role=Role.PLATFORM_ADMIN, company__isnull=True, scheme__isnull=True)
                ),
                name="user_role_fits_affiliation",
                violation_error_message=(
                    "An office or site role needs a company, an auditor needs a scheme, "
                    "a platform admin has neither."
                ),
            )
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.email

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session is bound to: the password, and that the account was not closed since."""
        bound = super()._get_session_auth_hash(secret)  # type: ignore[misc]
        if not self.times_closed:
            return str(bound)
        text = f"{bound} {self.times_closed}"
        return salted_hmac("jobs.User.times_closed", text, secret=secret).hexdigest()
