"""A token for the API, given for an e-mail address and a password."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django.core.exceptions import ValidationError
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.authtoken.models import Token
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from jobs.errors import Refused
from jobs.models import User
from jobs.platform.mail_bounds import TooOften


class SignInSerializer(serializers.Serializer[Any]):
    email = serializers.EmailField()
    password = serializers.CharField(trim_whitespace=False, max_length=256)


class TokenSerializer(serializers.Serializer[Any]):
    token = serializers.CharField()


class TokenView(APIView):
    """Send it as `Authorization: Token …`. Asking again gives the same token.

    It ends with the password: whoever changes that, or sets a new one, asks for another token.
    """

    authentication_classes = ()
    permission_classes = (AllowAny,)
    throttle_classes = (ScopedRateThrottle,)
    throttle_scope = "sign_in"

    @extend_schema(request=SignInSerializer, responses=TokenSerializer, auth=[])
    def post(self, request: Request) -> Response:
        sent = SignInSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        token, _ = Token.objects.get_or_create(user=_person(request, sent.validated_data))
        return Response({"token": token.key})


def _person(request: Request, told: dict[str, str]) -> User:
    """Who signs in so. Wrong passwords count for the account as those of the sign-in page do."""
    try:
        person: User | None = get_adapter().authenticate(request._request, **told)
    except ValidationError as error:
        raise TooOften(
            "Too many failed attempts to sign in.", field="email", remedy="Wait a few minutes."
        ) from error
    if person is None or not person.is_active:  # the sign-in page tells these of closed accounts
        raise Refused(
            "No person signs in with this e-mail address and password.",
            field="email",
            remedy="Check both; ask your planner or platform admin if they should work.",
        )
    return person


urlpatterns = [path("token/", TokenView.as_view(), name="api_token")]
