"""Evidence packs over the API: the same zip as on the page."""

from __future__ import annotations

from typing import Any

from django.http.response import HttpResponseBase
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.views import APIView

from compliance.api.roles import NOBODY, PACK_TAKERS
from compliance.packs.choosing import PackWish, wished_scope
from compliance.packs.sending import pack_answer


class ZipRenderer(BaseRenderer):
    """So that a client may ask for a zip by name; the view sends it itself."""

    media_type = "application/zip"
    format = "zip"

    def render(self, data: Any, *args: Any, **kwargs: Any) -> Any:
        return JSONRenderer().render(data, *args, **kwargs)


class PackWishSerializer(serializers.Serializer):
    """One job by number or address, or all that were judged from first_day to last_day."""

    job = serializers.CharField(required=False, default="")
    first_day = serializers.DateField(required=False, default=None)
    last_day = serializers.DateField(required=False, default=None)
    without_photos = serializers.BooleanField(required=False, default=False)
    seal = serializers.IntegerField(
        required=False, default=None, min_value=1, help_text="Id of a Seal that you kept."
    )


class EvidencePackView(APIView):
    """An evidence pack as a zip (BagIt, RFC 8493); check it with `compliance.verify`."""

    read_roles = PACK_TAKERS
    write_roles = NOBODY
    renderer_classes = (JSONRenderer, ZipRenderer)

    @extend_schema(
        parameters=[PackWishSerializer],
        responses={(200, "application/zip"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request) -> HttpResponseBase:
        wish = PackWishSerializer(data=request.query_params)
        wish.is_valid(raise_exception=True)
        scope = wished_scope(request.user, PackWish(**wish.validated_data))
        return pack_answer(request._request, scope, request.user)


urlpatterns = [path("packs/evidence.zip", EvidencePackView.as_view(), name="api_evidence_pack")]
