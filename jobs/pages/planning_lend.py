"""Sending somebody of another crew along on a visit, from the visit's page."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import Operative, Role, Skill, User, Visit
from jobs.pages.access import page_for
from jobs.planning.lending import free_operatives, lend, lent_to, take_back


class SendAlongForm(forms.Form):
    """Who is free then, those with the skills of the visit first."""

    operative = forms.ModelChoiceField(
        Operative.objects.none(), label="Who is free then", empty_label="Choose"
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, visit: Visit, user: User) -> None:
        # It stands beside the form that moves the visit, which carries the version as well.
        super().__init__(data, initial={"version": visit.version}, auto_id="along_%s")
        field: Any = self.fields["operative"]
        field.queryset = Operative.objects.visible_to(user)
        if data is None:
            free = [(person.pk, _with_skills(person)) for person in free_operatives(visit)]
            field.choices = [("", "Choose"), *free]
            self.anybody = bool(free)
            self.lent = lent_to(visit)


def _with_skills(person: Operative) -> str:
    skills = ", ".join(Skill(skill).label.lower() for skill in person.skills)
    crew = str(person.crew) if person.crew else "no crew"
    return f"{person.name}, {crew}{': ' if skills else ''}{skills}"


@require_POST
@page_for(Role.PLANNER)
def send_along(request: HttpRequest, pk: int) -> HttpResponse:
    """Send somebody along, or take them back."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    user: User = request.user  # type: ignore[assignment]
    form = SendAlongForm(request.POST, visit=visit, user=user)
    if not form.is_valid():
        messages.error(request, "Nobody is chosen. Choose who goes along.")
        return redirect("visit", pk=pk)
    given, back = form.cleaned_data, request.POST.get("act") == "back"
    try:
        act = take_back if back else lend
        act(visit, given["operative"], by=user, version=given["version"])
        does = "does not go" if back else "goes"
        messages.success(request, f"{given['operative']} {does} along.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visit", pk=pk)


urlpatterns = [path("planning/send-along/<int:pk>/", send_along, name="planning_send_along")]
