"""How crews reach the office: set by the company's planner, kept on the crews' phones."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path

from jobs.models import Role
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.platform import kept
from jobs.pages.platform_forms import OfficePhoneForm
from jobs.platform.companies import set_office_phone


@page_for(Role.PLANNER)
def office(request: HttpRequest) -> HttpResponse:
    company = request.user.company  # type: ignore[union-attr]
    start = {"office_phone": company.office_phone, "version": company.version}
    form = OfficePhoneForm(request.POST or None, initial=start)
    changed = kept(
        form,
        request,
        lambda given: set_office_phone(
            company, given["office_phone"], version=given["version"] or None
        ),
    )
    if changed is not None:
        messages.success(request, f"Crews ring {changed.office_phone or 'no number'} from now on.")
        return redirect("office")
    context = {
        "form": form,
        "page_title": "Reaching the office",
        "page_lead": "A number that every visit shows on the crew's phone, with or without signal.",
        "page_actions": [history_link("company_edits", company.pk)],
    }
    return render(request, "jobs/people/office.html", context)


urlpatterns = [path("people/office/", office, name="office")]
