"""Accounts: all of them for a platform admin, those of its own company for a planner."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.people_forms import (
    AddressForm,
    NewPersonForm,
    PeopleFilter,
    PersonForm,
    person_values,
)
from jobs.pages.platform import ROWS_A_PAGE, kept
from jobs.pages.refusals import REFUSED, put_back, tell, tried
from jobs.platform.addresses import ask_address
from jobs.platform.invitations import (
    awaits_password,
    days_to_set_password,
    invite,
    link_shown_to,
)
from jobs.platform.mail_bounds import refuse_too_often
from jobs.platform.people import change_person, close_account, open_account, reopen_account

KEEPERS = (Role.PLANNER, Role.PLATFORM_ADMIN)
JUST_INVITED = "just_invited"  # in the session: whose link is still to be shown, once


@page_for(*KEEPERS)
def people_list(request: HttpRequest) -> HttpResponse:
    shown = PeopleFilter(request.GET, user=request.user)
    people = shown.people(request.GET.get("order", ""))
    context = {
        "filter": shown,
        "page": Paginator(people, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "of_platform": request.user.role == Role.PLATFORM_ADMIN,
        "page_title": "People",
        "page_lead": "Who may sign in, and in which role.",
        "page_actions": [
            {"url": "/people/new/", "label": "Open an account", "primary": True},
            *_of_office(request.user),
        ],
    }
    return render(request, "jobs/people/people_list.html", context)


def _of_office(user: Any) -> list[dict[str, Any]]:
    """A planner's company has an office that crews ring; the platform has none."""
    return [{"url": "/people/office/", "label": "Reaching the office"}] * (
        user.role == Role.PLANNER
    )


@page_for(*KEEPERS)
def person_new(request: HttpRequest) -> HttpResponse:
    asked = {name: request.GET.get(name) for name in ("role", "company", "scheme")}
    form = NewPersonForm(request.POST or None, by=request.user, initial=asked)
    person = kept(
        form,
        request,
        lambda given: open_account(given["email"], form.name, form.capacity, by=request.user),
    )
    if person is not None:
        return _invited(request, person)
    context = {"form": form, "days": days_to_set_password(), "page_title": "Open an account"}
    return render(request, "jobs/people/person_new.html", context)


@page_for(*KEEPERS)
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """One account. A platform admin edits name and role here."""
    record = _kept_person(request, pk)
    form = _person_form(request.user, record, request.POST or None)
    if form is not None:
        changed = kept(form, request, lambda given: _change(record, form, request.user))
        if changed is not None:
            messages.success(request, f"{changed} is saved.")
            return redirect("person", pk)
    return render(request, "jobs/people/person.html", _about(request, record, form))


def _about(request: HttpRequest, record: User, form: PersonForm | None) -> dict[str, Any]:
    """The context of an account's page."""
    asked = AddressForm(initial={"version": record.version}) if record.is_active else None
    return {
        "person": record,
        "form": form,
        "address_form": asked,
        "link": _link_once(request, record),
        "days": days_to_set_password(),
        "awaits_password": awaits_password(record),
        "is_self": record.pk == request.user.pk,
        "page_title": str(record),
        "page_kicker": record.get_role_display(),
        "page_actions": [{"url": reverse("person_edits", args=[record.pk]), "label": "History"}],
    }


def _person_form(by: Any, record: User, data: Any = None) -> PersonForm | None:
    """The form of name and role, for the platform admin, who keeps them."""
    if by.role != Role.PLATFORM_ADMIN:
        return None
    return PersonForm(data, by=by, initial=person_values(record))


@page_for(*KEEPERS)
@require_POST
def person_address(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for another address of an account; refused, the page again with what was typed."""
    record, form = _kept_person(request, pk), AddressForm(request.POST)
    if tried(request, form, lambda given: _ask(request, record, given)):
        return redirect("person", pk)
    context = put_back(
        _about(request, record, _person_form(request.user, record)), address_form=form
    )
    return render(request, "jobs/people/person.html", context, status=REFUSED)


def _ask(request: HttpRequest, record: User, given: Any) -> str:
    refuse_too_often(request, given["email"])
    person = ask_address(record, given["email"], by=request.user, version=given["version"])
    if awaits_password(person):
        return f"The address is put right, and an invitation is on its way to {person.email}."
    return f"A link is on its way to {given['email']}: until it is opened, {person.email} counts."


def _change(record: User, form: PersonForm, by: Any) -> User:
    version = form.cleaned_data["version"]
    return change_person(record, form.name, form.capacity, by=by, version=version)


@page_for(*KEEPERS)
@require_POST
def person_close(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, close_account, "The account of {} is closed.")


@page_for(*KEEPERS)
@require_POST
def person_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    return _act(request, pk, reopen_account, "The account of {} is open again.")


@page_for(*KEEPERS)
@require_POST
def person_invite(request: HttpRequest, pk: int) -> HttpResponse:
    """Send another invitation, such as when the first has run out."""
    record = _kept_person(request, pk)
    try:
        invite(record)
    except Refused as refusal:
        messages.error(request, str(refusal))
        return redirect("person", pk)
    return _invited(request, record)


def _act(request: HttpRequest, pk: int, act: Any, said: str) -> HttpResponse:
    record = _kept_person(request, pk)
    tell(request, lambda: said.format(act(record, by=request.user)))
    return redirect("person", pk)


def _kept_person(request: HttpRequest, pk: int) -> User:
    return get_object_or_404(User.objects.visible_to(request.user).with_place(), pk=pk)


def _invited(request: HttpRequest, record: User) -> HttpResponse:
    """To the account's page, which shows the link this once."""
    request.session[JUST_INVITED] = record.pk
    messages.success(request, f"An invitation is on its way to {record.email}.")
    return redirect("person", record.pk)


def _link_once(request: HttpRequest, record: User) -> str:
    if request.session.get(JUST_INVITED) != record.pk:
        return ""
    del request.session[JUST_INVITED]
    return link_shown_to(request.user, record)


urlpatterns = [
    path("people/", people_list, name="people_list"),
    path("people/new/", person_new, name="person_new"),
    path("people/<int:pk>/", person, name="person"),
    path("people/<int:pk>/close/", person_close, name="person_close"),
    path("people/<int:pk>/reopen/", person_reopen, name="person_reopen"),
    path("people/<int:pk>/address/", person_address, name="person_address"),
    path("people/<int:pk>/invite/", person_invite, name="person_invite"),
]
