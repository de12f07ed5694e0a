"""A token for the API, given for an e-mail address and a password."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate
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


class SignInSerializer(serializers.Serializer[Any]):
    email = serializers.EmailField()
    password = serializers.CharField(trim_whitespace=False, max_length=256)


class TokenSerializer(serializers.Serializer[Any]):
    token = serializers.CharField()


class TokenView(APIView):
    """Send it as `Authorization: Token …`. Asking again gives the same token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    throttle_classes = (ScopedRateThrottle,)
    throttle_scope = "sign_in"

    @extend_schema(request=SignInSerializer, responses=TokenSerializer, auth=[])
    def post(self, request: Request) -> Response:
        sent = SignInSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        user = authenticate(request._request, **sent.validated_data)
        if user is None:
            raise Refused(
                "No person signs in with this e-mail address and password.",
                field="email",
                remedy="Check both; ask your planner or platform admin if they should work.",
            )
        token, _ = Token.objects.get_or_create(user=user)
        return Response({"token": token.key})


urlpatterns = [path("token/", TokenView.as_view(), name="api_token")]
