"""Which jobs a list shows: stage, scheme, nation, crew, what is amiss, words searched for."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone

from jobs.models import Crew, Job, Nation, Role, Scheme, Stage, User, Variation, Visit
from jobs.planning.attention import unconfirmed_homes, without_visit

ORDERS = {
    "job": ("pk",),
    "address": ("property__address_line_1", "pk"),
    "postcode": ("property__postcode", "pk"),
    "due": ("due_on", "pk"),
    "stage": ("stage", "stage_since", "pk"),
}
LOOKUPS = {"stage": "stage", "scheme": "scheme", "nation": "property__nation"}
ONLY = (
    ("", "All jobs"),
    ("late", "Past the due date"),
    ("unbooked", "No visit booked"),
    ("unconfirmed", "Nation to confirm"),
    ("varied", "Done other than planned"),
)


class JobFilter(forms.Form):
    """A GET form; an unknown value shows every job rather than an error page."""

    search = forms.CharField(required=False, label="Job, reference, address or postcode")
    stage = forms.ChoiceField(required=False, choices=[("", "Any stage"), *Stage.choices])
    scheme = forms.ModelChoiceField(Scheme.objects.none(), required=False, empty_label="Any scheme")
    nation = forms.ChoiceField(required=False, choices=[("", "Any nation"), *Nation.choices])
    crew = forms.ModelChoiceField(Crew.objects.none(), required=False, empty_label="Any crew")
    only = forms.ChoiceField(required=False, label="Show", choices=ONLY)

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        self.user = user
        schemes: Any = self.fields["scheme"]
        crews: Any = self.fields["crew"]
        if user.role == Role.AUDITOR:
            del self.fields["scheme"], self.fields["crew"]
        else:
            schemes.queryset = Scheme.objects.filter(companies=user.company_id)
            crews.queryset = Crew.objects.visible_to(user)

    @property
    def chosen(self) -> dict[str, Any]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        """How many filters beside the search are set."""
        return len(self.chosen.keys() - {"search"})

    def jobs(self, order: str = "") -> QuerySet[Job]:
        chosen = self.chosen
        jobs = Job.objects.visible_to(self.user).with_place()
        for name, lookup in (
            ("stage", "stage"),
            ("scheme", "scheme"),
            ("nation", "property__nation"),
        ):
            if name in chosen:
                jobs = jobs.filter(**{lookup: chosen[name]})
        if "crew" in chosen:
            booked = Visit.objects.live().filter(crew=chosen["crew"]).values("job_id")
            jobs = jobs.filter(pk__in=booked)
        jobs = self._only(jobs, chosen.get("only", ""))
        fields = ORDERS.get(order.lstrip("-"), ("-pk",))
        if order.startswith("-") and order[1:] in ORDERS:
            fields = tuple(f"-{field}" for field in fields)
        return with_next_visit(jobs.search(chosen.get("search", ""))).order_by(*fields)

    def _only(self, jobs: Any, only: str) -> Any:
        if only == "late":
            return jobs.late(timezone.localdate())
        if only == "unbooked":
            return without_visit(jobs.open(), "survey", "fitting", "call_back")
        if only == "unconfirmed":
            return jobs.filter(property__in=unconfirmed_homes(self.user))
        if only == "varied":
            varied = Variation.objects.current().values("visit__job")
            return jobs.filter(pk__in=varied).exclude(stage__in=(Stage.CERTIFIED, Stage.CALLED_OFF))
        return jobs


def with_next_visit(jobs: Any) -> Any:
    """Jobs with `next_visit_at` and `next_visit_crew` of the visit that is booked next."""
    coming = Visit.objects.filter(job=OuterRef("pk"), status="booked").order_by("during")
    return jobs.annotate(
        next_visit_at=Subquery(coming.values("during__startswith")[:1]),
        next_visit_crew=Subquery(coming.values("crew__name")[:1]),
    )
