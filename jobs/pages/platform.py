"""The platform admin's pages: what needs a hand, companies, schemes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from jobs.errors import Refused
from jobs.models import Company, Role, Scheme, User
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.platform_filters import CompanyFilter, SchemeFilter
from jobs.pages.platform_forms import CompanyForm, NewSchemeForm, SchemeForm, scheme_values
from jobs.pages.refusals import show_refusal
from jobs.pages.registry import attention_for
from jobs.platform.companies import found_company, rename_company
from jobs.platform.schemes import change_scheme, found_scheme

ROWS_A_PAGE = 50


@page_for(Role.PLATFORM_ADMIN)
def platform_home(request: HttpRequest) -> HttpResponse:
    context = {
        "items": attention_for(request.user),
        "figures": [
            {"label": "Companies", "value": Company.objects.count()},
            {"label": "Schemes", "value": Scheme.objects.count()},
            {"label": "Open accounts", "value": User.objects.filter(is_active=True).count()},
        ],
        "page_title": "Platform",
        "page_lead": "Who works here, under which schemes, and who may sign in.",
        "page_actions": [
            {"url": "/people/new/", "label": "Open an account"},
            {"url": "/platform/companies/new/", "label": "Found a company"},
            {"url": "/platform/schemes/new/", "label": "Found a scheme"},
        ],
    }
    return render(request, "jobs/platform/home.html", context)


@page_for(Role.PLATFORM_ADMIN)
def company_list(request: HttpRequest) -> HttpResponse:
    shown = CompanyFilter(request.GET)
    companies = shown.companies(request.GET.get("order", ""))
    context = {
        "filter": shown,
        "page": Paginator(companies, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": "Companies",
        "page_actions": [
            {"url": "/platform/companies/new/", "label": "Found a company", "primary": True}
        ],
    }
    return render(request, "jobs/platform/company_list.html", context)


@page_for(Role.PLATFORM_ADMIN)
def company_new(request: HttpRequest) -> HttpResponse:
    form = CompanyForm(request.POST or None)
    company = kept(form, request, lambda given: found_company(given["name"]))
    if company is not None:
        messages.success(request, f"{company} is founded. It needs a planner next.")
        return redirect("company", company.pk)
    return render(
        request, "jobs/platform/company_new.html", {"form": form, "page_title": "Found a company"}
    )


@page_for(Role.PLATFORM_ADMIN)
def company(request: HttpRequest, pk: int) -> HttpResponse:
    """A company: its schemes, its people, and another name for it."""
    record = get_object_or_404(Company.objects.visible_to(request.user), pk=pk)
    form = CompanyForm(
        request.POST or None, initial={"name": record.name, "version": record.version}
    )
    renamed = kept(
        form, request, lambda given: rename_company(record, given["name"], version=given["version"])
    )
    if renamed is not None:
        messages.success(request, f"The company is called {renamed} now.")
        return redirect("company", pk)
    people = User.objects.filter(company=record).with_place().order_by("role", "email")
    context = {
        "company": record,
        "form": form,
        "schemes": record.schemes.all(),
        "page": Paginator(people, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": record.name,
        "page_kicker": "Company",
        "page_actions": [history_link("company_edits", pk)],
    }
    return render(request, "jobs/platform/company.html", context)


@page_for(Role.PLATFORM_ADMIN)
def scheme_list(request: HttpRequest) -> HttpResponse:
    shown = SchemeFilter(request.GET)
    schemes = shown.schemes(request.GET.get("order", ""))
    context = {
        "filter": shown,
        "page": Paginator(schemes, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": "Schemes",
        "page_actions": [
            {"url": "/platform/schemes/new/", "label": "Found a scheme", "primary": True}
        ],
    }
    return render(request, "jobs/platform/scheme_list.html", context)


@page_for(Role.PLATFORM_ADMIN)
def scheme_new(request: HttpRequest) -> HttpResponse:
    form = NewSchemeForm(request.POST or None)
    scheme = kept(
        form, request, lambda given: found_scheme(form.terms, given["code"], given["companies"])
    )
    if scheme is not None:
        messages.success(request, f"{scheme} is founded. It needs an auditor next.")
        return redirect("scheme", scheme.pk)
    return render(
        request, "jobs/platform/scheme_new.html", {"form": form, "page_title": "Found a scheme"}
    )


@page_for(Role.PLATFORM_ADMIN)
def scheme(request: HttpRequest, pk: int) -> HttpResponse:
    """A scheme: its terms, who works under it, who audits it."""
    record = get_object_or_404(Scheme.objects.visible_to(request.user), pk=pk)
    form = SchemeForm(request.POST or None, initial=scheme_values(record))
    changed = kept(
        form,
        request,
        lambda given: change_scheme(
            record, form.terms, given["companies"], version=given["version"]
        ),
    )
    if changed is not None:
        messages.success(request, f"{changed} is saved.")
        return redirect("scheme", pk)
    context = {
        "scheme": record,
        "form": form,
        "auditors": record.auditors.with_place(),
        "page_title": record.name,
        "page_kicker": f"Scheme {record.code}",
        "page_actions": [history_link("scheme_edits", pk)],
    }
    return render(request, "jobs/platform/scheme.html", context)


def kept(form: forms.Form, request: HttpRequest, keep: Callable[[dict[str, Any]], Any]) -> Any:
    """What `keep` made of a form that was sent; None if there was none, or it was refused."""
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        return keep(form.cleaned_data)
    except Refused as refusal:
        show_refusal(form, refusal)
        return None


urlpatterns = [
    path("platform/", platform_home, name="platform_home"),
    path("platform/companies/", company_list, name="company_list"),
    path("platform/companies/new/", company_new, name="company_new"),
    path("platform/companies/<int:pk>/", company, name="company"),
    path("platform/schemes/", scheme_list, name="scheme_list"),
    path("platform/schemes/new/", scheme_new, name="scheme_new"),
    path("platform/schemes/<int:pk>/", scheme, name="scheme"),
]
