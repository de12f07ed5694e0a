"""Forms that narrow the lists of verdicts, shortfalls and certificates."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone

from compliance.models import Assessment, Certificate, Shortfall
from compliance.standing import latest_assessments
from jobs.models import Job, Nation, Scheme, User

SHORTFALLS_SHOWN = (
    ("", "Open"),
    ("late", "Late"),
    ("waiting", "Open, no call-back booked"),
    ("closed", "Put right or waived"),
)
NOT_LISTED = ("inputs", "arithmetic")
"""What a verdict rests on, and how it was reached: far more than a list shows."""
CERTIFICATES_SHOWN = (("", "All"), ("current", "Valid"), ("withdrawn", "Withdrawn"))


class ProofFilter(forms.Form):
    """What the three lists share. An unknown value shows everything rather than an error page."""

    search = forms.CharField(required=False, label="Job, reference, address or postcode")
    scheme = forms.ModelChoiceField(Scheme.objects.none(), required=False, empty_label="Any scheme")

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        self.user = user
        scheme: Any = self.fields["scheme"]
        scheme.queryset = Scheme.objects.filter(companies=user.company_id)

    @property
    def chosen(self) -> dict[str, Any]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        return len(self.chosen.keys() - {"search"})

    def narrowed(self, rows: Any) -> Any:
        """`rows` that belong to a job, by search and scheme."""
        chosen = self.chosen
        if "search" in chosen:
            found = Job.objects.visible_to(self.user).search(chosen["search"])
            rows = rows.filter(job__in=found.values("pk"))
        if "scheme" in chosen:
            rows = rows.filter(job__scheme=chosen["scheme"])
        return rows


class VerdictFilter(ProofFilter):
    verdict = forms.ChoiceField(
        required=False, choices=[("", "Any verdict"), *Assessment.Verdict.choices]
    )
    nation = forms.ChoiceField(required=False, choices=[("", "Any nation"), *Nation.choices])
    ORDERS = {
        "home": ("job__property__address_line_1", "pk"),
        "made": ("made_at", "pk"),
        "deficit": ("deficit_mm", "pk"),
        "mean": ("mean_depth_mm", "pk"),
    }

    def rows(self, order: str = "") -> Any:
        rows = self.narrowed(latest_assessments(self.user))
        if "verdict" in self.chosen:
            rows = rows.filter(verdict=self.chosen["verdict"])
        if "nation" in self.chosen:
            rows = rows.filter(job__property__nation=self.chosen["nation"])
        fields = self.ORDERS.get(order.lstrip("-"), ("-made_at", "-pk"))
        if order.startswith("-") and order[1:] in self.ORDERS:
            fields = tuple(f"-{field}" for field in fields)
        return rows.defer(*NOT_LISTED).order_by(*fields)


class ShortfallFilter(ProofFilter):
    show = forms.ChoiceField(required=False, choices=SHORTFALLS_SHOWN)

    def rows(self) -> Any:
        rows = self.narrowed(Shortfall.objects.visible_to(self.user).with_place())
        rows = rows.defer("assessment__inputs", "assessment__arithmetic")
        show = self.chosen.get("show", "")
        if show == "late":
            rows = rows.late(timezone.localdate())
        elif show == "waiting":
            rows = rows.without_call_back()
        elif show == "closed":
            return rows.filter(closed_at__isnull=False).order_by("-closed_at", "-pk")
        else:
            rows = rows.open()
        return rows.order_by("due_on", "pk")


class CertificateFilter(ProofFilter):
    show = forms.ChoiceField(required=False, choices=CERTIFICATES_SHOWN)

    def rows(self) -> Any:
        rows = Certificate.objects.visible_to(self.user).with_place()
        words = self.chosen.get("search", "")
        by_code = Q(code__icontains=words.strip().upper()) if words else Q(pk__in=())
        rows = self.narrowed(rows) | Certificate.objects.visible_to(self.user).with_place().filter(
            by_code
        )
        if "scheme" in self.chosen:
            rows = rows.filter(job__scheme=self.chosen["scheme"])
        show = self.chosen.get("show", "")
        if show:
            rows = rows.filter(withdrawal__isnull=show == "current")
        # What a certificate prints and its verdict rests on is far more than a list shows.
        heavy = ("contents", "assessment__inputs", "assessment__arithmetic")
        return rows.defer(*heavy).order_by("-issued_at", "-pk")
