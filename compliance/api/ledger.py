"""The ledger over the API: Seals, proofs of inclusion and of consistency. Hashes in hex."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView

from compliance.api.roles import EVERYBODY, NOBODY, VERDICT_READERS
from compliance.ledger.proofs import prove_consistency, prove_inclusion, visible_entry
from compliance.models import LedgerEntry, Seal
from jobs.errors import Refused
from jobs.numbers import whole_number


@extend_schema_field(serializers.RegexField(r"^[0-9a-f]*$"))
class HexField(serializers.Field):
    """Bytes as lower-case hexadecimal digits."""

    def to_representation(self, value: Any) -> str:
        return bytes(value).hex()


class SealSerializer(serializers.ModelSerializer):
    """`signature` is Ed25519 over the UTF-8 bytes of `signed_text`."""

    root_hash = HexField(read_only=True)
    signature = HexField(read_only=True)
    public_key = HexField(read_only=True)

    class Meta:
        model = Seal
        fields = [
            "id",
            "tree_size",
            "root_hash",
            "made_at",
            "signed_text",
            "signature",
            "public_key",
        ]
        read_only_fields = fields


class InclusionSerializer(serializers.Serializer):
    """Check as RFC 9162, section 2.1.3.2; the leaf is SHA-256(0x00 || payload)."""

    entry = serializers.IntegerField(source="entry.pk")
    kind = serializers.CharField(source="entry.kind")
    fact = serializers.IntegerField(source="entry.fact_id")
    payload = serializers.CharField(source="entry.payload")
    leaf_hash = HexField(source="entry.leaf_hash")
    position = serializers.IntegerField()
    path = serializers.ListField(child=HexField())
    seal = SealSerializer()


class ConsistencySerializer(serializers.Serializer):
    """Check as RFC 9162, section 2.1.4.2."""

    first = SealSerializer()
    second = SealSerializer()
    path = serializers.ListField(child=HexField())


class LedgerThrottle(SimpleRateThrottle):
    """What strangers may ask of the ledger, by address: enough to check it now and then."""

    scope = "ledger"
    rate = "300/min"

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        if request.user.is_authenticated:
            return None
        return self.cache_format % {"scope": self.scope, "ident": self.get_ident(request)}


class SealViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Seal]):
    """Open to everybody: a Seal names nobody, and is worth what others keep of it."""

    permission_classes = (AllowAny,)
    throttle_classes = (LedgerThrottle,)
    read_roles = EVERYBODY
    write_roles = NOBODY
    serializer_class = SealSerializer
    queryset = Seal.objects.all()


class EntryProofView(APIView):
    """That a fact you may see stands in the ledger, under the last Seal or the one you name."""

    read_roles = VERDICT_READERS
    write_roles = NOBODY

    @extend_schema(parameters=[OpenApiParameter("seal", int)], responses=InclusionSerializer)
    def get(self, request: Request, pk: int) -> Response:
        entry = get_object_or_404(LedgerEntry.objects.select_related("leaf"), pk=pk)
        if not visible_entry(request.user, entry):
            raise Http404
        seal = named_seal(request, "seal") if "seal" in request.query_params else None
        return Response(InclusionSerializer(prove_inclusion(entry, seal)).data)


class FactProofView(APIView):
    """The same proof, by what the fact is: its kind (table) and id."""

    read_roles = VERDICT_READERS
    write_roles = NOBODY

    @extend_schema(parameters=[OpenApiParameter("seal", int)], responses=InclusionSerializer)
    def get(self, request: Request, kind: str, pk: int) -> Response:
        rows = LedgerEntry.objects.select_related("leaf")
        entry = get_object_or_404(rows, kind=kind, fact_id=pk)
        return EntryProofView().get(request, entry.pk)


class ConsistencyView(APIView):
    """That a Seal continues an earlier one: nothing before it was changed or taken away."""

    permission_classes = (AllowAny,)
    throttle_classes = (LedgerThrottle,)
    read_roles = EVERYBODY
    write_roles = NOBODY

    @extend_schema(
        parameters=[
            OpenApiParameter("first", int, required=True),
            OpenApiParameter("second", int, required=True),
        ],
        responses=ConsistencySerializer,
    )
    def get(self, request: Request) -> Response:
        first, second = named_seal(request, "first"), named_seal(request, "second")
        return Response(ConsistencySerializer(prove_consistency(first, second)).data)


def named_seal(request: Request, name: str) -> Seal:
    """The Seal whose id the query gives as `name`."""
    given = request.query_params.get(name, "")
    number = whole_number(given)
    seal = None if number is None else Seal.objects.filter(pk=number).first()
    if seal is None:
        raise Refused(
            f"{given!r} is no Seal's id.",
            field=name,
            remedy="GET /api/v1/ledger/seals/ lists them.",
        )
    return seal


router = SimpleRouter()
router.register("ledger/seals", SealViewSet, basename="api_seal")
urlpatterns = [
    *router.urls,
    path("ledger/entries/<int:pk>/proof/", EntryProofView.as_view(), name="api_entry_proof"),
    path(
        "ledger/facts/<slug:kind>/<int:pk>/proof/",
        FactProofView.as_view(),
        name="api_fact_proof",
    ),
    path("ledger/consistency/", ConsistencyView.as_view(), name="api_consistency"),
]
