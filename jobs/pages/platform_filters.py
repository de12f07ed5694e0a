"""What narrows and orders the lists of companies, schemes and people."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.db.models import Count, Q

from jobs.models import Company, Role, Scheme


class ListFilter(forms.Form):
    """A GET form; an unknown value shows everything rather than an error page."""

    orders: ClassVar[dict[str, tuple[str, ...]]] = {}

    @property
    def chosen(self) -> dict[str, Any]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        """How many filters beside the search are set."""
        return len(self.chosen.keys() - {"search"})

    def order(self, asked: str, usual: str) -> tuple[str, ...]:
        fields = self.orders.get(asked.removeprefix("-"), self.orders[usual])
        backwards = asked.startswith("-") and asked[1:] in self.orders
        return tuple(f"-{field}" for field in fields) if backwards else fields


class CompanyFilter(ListFilter):
    search = forms.CharField(required=False, label="Name")
    only = forms.ChoiceField(
        required=False,
        label="Show",
        choices=(
            ("", "All companies"),
            ("no_planner", "Without a planner"),
            ("no_officer", "Without a compliance officer"),
            ("no_scheme", "Under no scheme"),
        ),
    )
    orders: ClassVar = {
        "name": ("name", "pk"),
        "people": ("people_count", "name"),
        "schemes": ("scheme_count", "name"),
    }

    def companies(self, order: str = "") -> Any:
        chosen = self.chosen
        companies = Company.objects.filter(name__icontains=chosen.get("search", ""))
        narrowed = {
            "no_planner": lambda: companies.without_anyone_as(Role.PLANNER),
            "no_officer": lambda: companies.without_anyone_as(Role.COMPLIANCE_OFFICER),
            "no_scheme": companies.without_schemes,
        }
        found = narrowed.get(chosen.get("only", ""), companies.all)()
        return found.annotate(
            people_count=Count("people", filter=Q(people__is_active=True), distinct=True),
            scheme_count=Count("schemes", distinct=True),
        ).order_by(*self.order(order, "name"))


class SchemeFilter(ListFilter):
    search = forms.CharField(required=False, label="Name or code")
    only = forms.ChoiceField(
        required=False,
        label="Show",
        choices=(
            ("", "All schemes"),
            ("no_company", "Without a company"),
            ("no_auditor", "Without an auditor"),
        ),
    )
    orders: ClassVar = {
        "name": ("name", "pk"),
        "starts": ("starts_on", "name"),
        "companies": ("company_count", "name"),
    }

    def schemes(self, order: str = "") -> Any:
        chosen = self.chosen
        words = chosen.get("search", "")
        schemes = Scheme.objects.filter(Q(name__icontains=words) | Q(code__icontains=words))
        narrowed = {"no_company": schemes.without_companies, "no_auditor": schemes.without_auditor}
        found = narrowed.get(chosen.get("only", ""), schemes.all)()
        return found.annotate(
            company_count=Count("companies", distinct=True),
            auditor_count=Count("auditors", filter=Q(auditors__is_active=True), distinct=True),
        ).order_by(*self.order(order, "name"))
