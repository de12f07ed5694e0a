"""Plan runs over the API: asked for, watched, stopped, and what they propose answered."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema, extend_schema_field
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.models import PlanRun, ProposedVisit
from jobs.planning.answering import discard
from jobs.planning.plan_leaves import plan_leaves
from jobs.planning.promises import accept_knowing
from jobs.planning.runs import start_run, stop_run
from jobs.planning.together import needed_by_line, with_partners
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import MayMove, Wishes


def _factor(of_what: str) -> serializers.FloatField:
    """1 is as usual; 0.1 counts a tenth, 5 five times as much."""
    return serializers.FloatField(
        min_value=0.01, max_value=100, default=1.0, help_text=f"Price of {of_what}; 1 is as usual."
    )


class DisturbanceSerializer(serializers.Serializer):
    """A crew whose days are not as they were: only what clashes there moves."""

    crew = serializers.IntegerField(min_value=1)
    first_day = serializers.DateField()
    last_day = serializers.DateField()


class WishesSerializer(serializers.Serializer):
    """What matters more than usual (factors on the office's prices), and what may move."""

    travel = _factor("driving")
    late = _factor("ending after the due time")
    overtime = _factor("crews after their day")
    left_out = _factor("leaving a visit out")
    promises = _factor("moving what is booked or promised")
    may_move = serializers.ChoiceField(
        [each.value for each in MayMove],
        default=MayMove.ALL.value,
        help_text="Booked visits: all, unpromised ones only, those that clash, or nothing.",
    )
    waiting = serializers.ChoiceField(
        [each.value for each in Waiting],
        default=Waiting.PLAN.value,
        help_text="What is not booked yet: planned, only into freed time, or left waiting.",
    )
    disturbed = DisturbanceSerializer(default=None, allow_null=True)

    def to_internal_value(self, data: Any) -> Wishes:
        """The wishes themselves; a factor that is no number at all is refused as any other."""
        given = super().to_internal_value(data)
        try:
            return Wishes.from_json(given)
        except ValueError as refusal:
            raise serializers.ValidationError(str(refusal)) from refusal


class PlanRunSerializer(serializers.ModelSerializer):
    """One search for a plan. `progress` holds the best plan's price so far, in points."""

    wishes = WishesSerializer(required=False)

    class Meta:
        model = PlanRun
        fields = [
            "id",
            "first_day",
            "days",
            "seconds",
            "seed",
            "wishes",
            "prices",
            "because",
            "from_moment",
            "state",
            "failure",
            "progress",
            "notes",
            "attempts",
            "asked_by",
            "asked_at",
            "started_at",
            "ended_at",
        ]
        read_only_fields = [
            "prices",
            "state",
            "failure",
            "progress",
            "notes",
            "attempts",
            "asked_by",
            "asked_at",
            "started_at",
            "ended_at",
        ]
        extra_kwargs = {"from_moment": {"required": False}}

    def create(self, data: dict[str, Any]) -> PlanRun:
        user = self.context["request"].user
        return start_run(user.company, by=user, **data)


class LeftBehindSerializer(serializers.Serializer):
    """Somebody who goes along with a visit and could not come to its new time, and why."""

    operative = serializers.IntegerField()
    name = serializers.CharField()
    why = serializers.CharField()


class ProposedVisitSerializer(serializers.ModelSerializer):
    """One line of a plan beside what is booked. `cost_min`: price of moving it elsewhere.

    `needs`: the lines that must be accepted with it, since they make room for it or come before.
    `leaves_behind`: who goes along with the visit and could not come to its new time.
    """

    starts_at = serializers.DateTimeField(source="during.lower", default=None, read_only=True)
    ends_at = serializers.DateTimeField(source="during.upper", default=None, read_only=True)
    was_starts_at = serializers.DateTimeField(
        source="was_during.lower", default=None, read_only=True
    )
    job = serializers.SerializerMethodField()
    needs = serializers.SerializerMethodField()
    leaves_behind = serializers.SerializerMethodField()

    class Meta:
        model = ProposedVisit
        fields = [
            "id",
            "run",
            "job",
            "need",
            "visit",
            "part",
            "change",
            "crew",
            "van",
            "starts_at",
            "ends_at",
            "sequence",
            "travel_s",
            "travel_m",
            "was_crew",
            "was_starts_at",
            "cost_min",
            "why",
            "reasons",
            "answer",
            "answer_words",
            "answered_at",
            "needs",
            "leaves_behind",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.ListField(child=serializers.IntegerField()))
    def get_needs(self, line: ProposedVisit) -> list[int]:
        by_run = self.context.setdefault("needed_by_run", {})
        if line.run_id not in by_run:
            by_run[line.run_id] = needed_by_line(line.run.proposals.with_place())
        return sorted(with_partners([line.pk], by_run[line.run_id]) - {line.pk})

    @extend_schema_field(LeftBehindSerializer(many=True))
    def get_leaves_behind(self, line: ProposedVisit) -> list[dict[str, Any]]:
        by_run = self.context.setdefault("left_by_run", {})
        if line.run_id not in by_run:
            by_run[line.run_id] = plan_leaves(line.run.proposals.with_place())
        return [each.told for each in by_run[line.run_id].get(line.pk, ())]

    @extend_schema_field(serializers.IntegerField())
    def get_job(self, line: ProposedVisit) -> int:
        return (line.visit or line.need).job_id  # type: ignore[union-attr]


class ChosenSerializer(serializers.Serializer):
    """Which lines; none given means all that are not answered."""

    proposals = serializers.ListField(
        child=serializers.IntegerField(min_value=1), required=False, allow_empty=False
    )


class AcceptSerializer(ChosenSerializer):
    """`promises_may_break`: how many promised visits may move or come off; 0 unless given.

    If it is another number, nothing is booked and 409 names each in `promises`: job, property,
    what was promised and what it would become.
    """

    promises_may_break = serializers.IntegerField(min_value=0, required=False)


class AnsweredSerializer(serializers.Serializer):
    """Ids of the lines that were booked, and of those refused with the words why.

    `left_behind`: by id of a line that was booked, who does not go along any more.
    """

    accepted = serializers.ListField(child=serializers.IntegerField())
    refused = serializers.DictField(child=serializers.CharField())
    left_behind = serializers.DictField(child=serializers.CharField())


class PlanRunViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[PlanRun],
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = PlanRun.objects.none()
    serializer_class = PlanRunSerializer
    filterset_fields = ["state", "first_day"]

    def get_queryset(self) -> Any:
        return PlanRun.objects.visible_to(self.request.user).select_related("asked_by")

    @extend_schema(request=None, responses={202: PlanRunSerializer})
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str) -> Response:
        """Stop looking; the best plan so far is proposed."""
        run = stop_run(self.get_object(), request.user)
        return Response(self.get_serializer(run).data, status=status.HTTP_202_ACCEPTED)

    @extend_schema(
        request=AcceptSerializer,
        responses={
            200: AnsweredSerializer,
            409: OpenApiResponse(description="Promised visits would change; `promises` names them"),
        },
    )
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: str) -> Response:
        """Book what is proposed, in whole or part; what changed since is refused with words."""
        run, given = self.get_object(), AcceptSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        answered = accept_knowing(
            run,
            request.user,
            given.validated_data.get("proposals"),
            promises_may_break=given.validated_data.get("promises_may_break"),
        )
        refused = {str(line.pk): line.answer_words for line in answered.refused}
        accepted = [line.pk for line in answered.done]
        left = {str(line.pk): line.answer_words for line in answered.done if line.answer_words}
        return Response({"accepted": accepted, "refused": refused, "left_behind": left})

    @extend_schema(request=ChosenSerializer, responses={200: ChosenSerializer})
    @action(detail=True, methods=["post"])
    def discard(self, request: Request, pk: str) -> Response:
        """Set proposals aside, in whole or part; what is booked stays."""
        run = self.get_object()
        chosen = _chosen(request)
        discard(run, request.user, chosen)
        gone = run.proposals.filter(answer=ProposedVisit.Answer.DISCARDED)
        return Response({"proposals": list(gone.values_list("pk", flat=True))})


def _chosen(request: Request) -> list[int] | None:
    chosen = ChosenSerializer(data=request.data)
    chosen.is_valid(raise_exception=True)
    return chosen.validated_data.get("proposals")


class ProposedVisitViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[ProposedVisit]
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = ProposedVisit.objects.none()
    serializer_class = ProposedVisitSerializer
    filterset_fields = ["run", "change", "answer", "crew", "need", "visit"]

    def get_queryset(self) -> Any:
        return ProposedVisit.objects.visible_to(self.request.user).with_place()


router = SimpleRouter()
router.register("plan-runs", PlanRunViewSet, basename="api_plan_run")
router.register("proposed-visits", ProposedVisitViewSet, basename="api_proposed_visit")
urlpatterns = router.urls
