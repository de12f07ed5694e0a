"""Surveys over the API: one document a survey, its areas and other parts nested in it."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.models import Fixture, Hazard, Job, LoftArea, Obstacle, Role, Survey
from jobs.surveying.records import Measurements, complete_survey, save_draft, start_survey
from jobs.surveying.sketches import missing_of, sketch_of_stored

READS = frozenset(
    {Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER, Role.AUDITOR}
)
WRITES = frozenset({Role.SURVEYOR, Role.PLANNER})
PARTS = {"areas": LoftArea, "obstacles": Obstacle, "fixtures": Fixture, "hazards": Hazard}


class PointsField(serializers.ListField):
    """An outline: corner points [x, y] in millimetres, in order."""

    child = serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2)


def part_serializer(model: Any, **declared: Any) -> Any:
    """A serializer of a survey's part: every column but its keys."""
    meta = type("Meta", (), {"model": model, "exclude": ["id", "survey"]})
    name = f"Survey{model.__name__}Serializer"
    return type(name, (serializers.ModelSerializer,), {"Meta": meta, **declared})


AreaSerializer = part_serializer(
    LoftArea,
    outline_mm=PointsField(min_length=3, max_length=200),
    holes_mm=serializers.ListField(child=PointsField(min_length=3), required=False, default=list),
)
ObstacleSerializer = part_serializer(Obstacle, outline_mm=PointsField(min_length=3))
FixtureSerializer = part_serializer(Fixture)
HazardSerializer = part_serializer(Hazard)


class SurveySerializer(serializers.ModelSerializer):
    areas = AreaSerializer(many=True, required=False)
    obstacles = ObstacleSerializer(many=True, required=False)
    fixtures = FixtureSerializer(many=True, required=False)
    hazards = HazardSerializer(many=True, required=False)
    job = VisibleRelatedField(queryset=Job.objects.all())
    missing = serializers.SerializerMethodField()

    class Meta:
        model = Survey
        exclude: list[str] = []
        read_only_fields = ["surveyed_by", "completed_at", "version"]

    def get_missing(self, survey: Survey) -> list[str]:
        """What keeps the survey from being finished."""
        return [] if survey.completed_at else list(missing_of(survey))

    def create(self, data: dict[str, Any]) -> Survey:
        user = self.context["request"].user
        draft = start_survey(data.pop("job"), user, data["surveyed_on"])
        return self.update(draft, data)

    def update(self, survey: Survey, data: dict[str, Any]) -> Survey:
        """Parts that are sent replace the draft's; parts left out stay."""
        data.pop("job", None)
        rows = {
            name: tuple(model(**row) for row in data.pop(name))
            if name in data
            else tuple(getattr(survey, name).all())
            for name, model in PARTS.items()
        }
        return save_draft(survey, Measurements(survey_fields=data, **rows))


class SurveyViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Survey],
):
    read_roles = READS
    write_roles = WRITES
    serializer_class = SurveySerializer
    filterset_fields = ["job", "surveyed_by", "surveyed_on"]
    queryset = Survey.objects.none()

    def get_queryset(self) -> Any:
        return Survey.objects.visible_to(self.request.user).with_measurements()

    @extend_schema(request=None, responses=SurveySerializer)
    @action(detail=True, methods=["post"])
    def finish(self, request: Request, pk: str) -> Response:
        """Finish the survey; the job goes on to be quantified."""
        done = complete_survey(self.get_object(), request.user)
        return Response(self.get_serializer(self.get_queryset().get(pk=done.pk)).data)

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    @action(detail=True, methods=["get"])
    def drawing(self, request: Request, pk: str) -> HttpResponse:
        """The loft as surveyed, as SVG. Empty while the measurements cannot be drawn."""
        sketch = sketch_of_stored(self.get_object())
        return HttpResponse(sketch.svg, content_type="image/svg+xml")


router = SimpleRouter()
router.register("surveys", SurveyViewSet, basename="api_survey")
urlpatterns = router.urls
