"""Accounts: all of them for the platform admin, those of its own company for a planner."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import ACCOUNT_KEEPERS
from jobs.errors import Refused
from jobs.models import Company, Role, Scheme, User
from jobs.platform.addresses import ask_address
from jobs.platform.invitations import awaits_password, invite, link_shown_to
from jobs.platform.mail_bounds import refuse_too_often
from jobs.platform.people import (
    Capacity,
    Name,
    change_person,
    close_account,
    open_account,
    reopen_account,
)


class PersonSerializer(serializers.ModelSerializer):
    company = VisibleRelatedField(queryset=Company.objects.all(), required=False, allow_null=True)
    scheme = VisibleRelatedField(queryset=Scheme.objects.all(), required=False, allow_null=True)
    role = serializers.ChoiceField(choices=Role.choices)
    awaits_password = serializers.SerializerMethodField()

    class Meta:
        model = User
        fields = [
            "id",
            "email",
            "first_name",
            "last_name",
            "role",
            "company",
            "scheme",
            "is_active",
            "awaits_password",
            "last_login",
            "version",
        ]
        read_only_fields = ["last_login", "version"]
        validators: list[Any] = []  # the database holds which role has a company or scheme
        extra_kwargs = {"email": {"validators": []}}  # the domain says which address is taken

    def get_awaits_password(self, person: User) -> bool:
        return awaits_password(person)

    def create(self, data: dict[str, Any]) -> User:
        if not data.get("is_active", True):
            raise Refused(
                "An account is open when it is made.", field="is_active", remedy="Leave it out."
            )
        name = Name(data.get("first_name", ""), data.get("last_name", ""))
        capacity = Capacity(data["role"], data.get("company"), data.get("scheme"))
        return open_account(data["email"], name, capacity, by=self._by)

    def update(self, person: User, data: dict[str, Any]) -> User:
        """Name and capacity first, then open or closed; all in the transaction of the request."""
        if data.pop("email", person.email) != person.email:
            raise Refused(
                "The e-mail address of an account is not edited here.",
                field="email",
                remedy="Post the new one to the account’s address/, which mails a link to it.",
            )
        open_now = data.pop("is_active", person.is_active)
        if data:
            person = change_person(
                person, self._name(person, data), self._capacity(person, data), by=self._by
            )
        if open_now != person.is_active:
            person = (reopen_account if open_now else close_account)(person, by=self._by)
        return person

    @property
    def _by(self) -> User:
        by: User = self.context["request"].user
        return by

    def _name(self, person: User, data: dict[str, Any]) -> Name:
        return Name(
            data.get("first_name", person.first_name), data.get("last_name", person.last_name)
        )

    def _capacity(self, person: User, data: dict[str, Any]) -> Capacity:
        return Capacity(
            data.get("role", person.role),
            data.get("company", person.company),
            data.get("scheme", person.scheme),
        )


class AddressIn(serializers.Serializer[Any]):
    email = serializers.EmailField()


class InvitationOut(serializers.Serializer[Any]):
    """The link is in this answer only; nothing stores it. Empty for a planner."""

    link = serializers.CharField(allow_blank=True)


class PersonFilter(django_filters.FilterSet):
    company = IdFilter()
    scheme = IdFilter()

    class Meta:
        model = User
        fields = ["email", "role", "is_active", "company", "scheme"]


class PersonViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[User],
):
    """Opening an account mails an invitation. A planner edits nothing but `is_active`."""

    read_roles = write_roles = ACCOUNT_KEEPERS
    serializer_class = PersonSerializer
    queryset = User.objects.all()
    filterset_class = PersonFilter

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.request.user)

    @extend_schema(request=None, responses=InvitationOut)
    @action(detail=True, methods=["post"], url_path="invitation", filterset_class=None)
    def invitation(self, request: Request, pk: str | None = None) -> Response:
        """Mail another invitation; the platform admin is given its link too, this once."""
        person = self.get_object()
        invite(person)
        return Response({"link": link_shown_to(request.user, person)})

    @extend_schema(request=AddressIn, responses={202: PersonSerializer})
    @action(detail=True, methods=["post"], url_path="address", filterset_class=None)
    def address(self, request: Request, pk: str | None = None) -> Response:
        """Mail a link to another address, which counts once its person opened it."""
        person, given = self.get_object(), AddressIn(data=request.data)
        given.is_valid(raise_exception=True)
        email = given.validated_data["email"]
        refuse_too_often(request, email)
        asked = ask_address(person, email, by=request.user)
        return Response(self.get_serializer(asked).data, status=202)


router = SimpleRouter()
router.register("people", PersonViewSet, basename="api_person")
urlpatterns = router.urls
