"""What a phone on site keeps and asks for: its worker, who is signed in, what waits on it."""

from __future__ import annotations

import json
from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from jobs.evidence.day import days_of
from jobs.models import Role, User
from jobs.pages.access import open_page, page_for
from jobs.pages.phone_shell import shell

KEEPERS = (Role.INSTALLER, Role.AUDITOR)
"""Whose records are kept on a phone until there is signal."""

SIGNED_OUT = {
    "type": "about:blank",
    "title": "Sign in first.",
    "status": 401,
    "detail": "You are signed out. What is on this phone stays on it until you sign in again.",
}


@require_safe
@never_cache
@open_page
def service_worker(request: HttpRequest) -> HttpResponse:
    """The script that serves on-site pages without signal; another shell makes another script."""
    kept = shell()
    settings = {
        "version": kept.version,
        "shell": kept.urls,
        "named": kept.named,
        "noSignal": reverse("on_site_no_signal"),
        "signInAndOut": [reverse("account_login"), reverse("account_logout")],
    }
    begins = f'import {{ begin }} from "{static("on_site/worker.js")}";'
    script = f"{begins}\nbegin({json.dumps(settings)});\n"
    return HttpResponse(
        script,
        content_type="text/javascript; charset=utf-8",
        headers={"Service-Worker-Allowed": "/"},
    )


@require_safe
@never_cache
@open_page
def phone(request: HttpRequest) -> HttpResponse:
    """Who is signed in, a token to send with, the office's clock, and what to keep for the day."""
    user = request.user
    if not user.is_authenticated:
        return JsonResponse(SIGNED_OUT, status=401, content_type="application/problem+json")
    answer = {
        "person": {"id": user.pk, "name": user.get_full_name() or user.email},
        "csrf": get_token(request),
        "now": timezone.now().isoformat(),
        "shell": shell().version,
        "pages": list(dict.fromkeys(pages_to_keep(user))),
    }
    return JsonResponse(answer)


def pages_to_keep(user: User) -> Iterator[str]:
    """Addresses of the day and of the next day with a visit; a visit's steps are found from it."""
    if user.role in KEEPERS:
        yield reverse("on_site_kept")
    if user.role != Role.INSTALLER:
        return
    yield reverse("on_site")
    today = timezone.localdate()
    days = days_of(user, today)
    for card in (*days.today, *(card for day in days.coming[:1] for card in day.cards)):
        yield reverse("on_site_visit", args=[card.visit.pk])
        yield reverse("on_site_layers", args=[card.visit.pk])
        day = timezone.localdate(card.visit.during.lower)
        yield reverse("load_list", args=[card.visit.crew_id, day])
        yield reverse("round_sheet", args=[card.visit.crew_id, day])


@require_safe
@page_for(*KEEPERS)
def kept(request: HttpRequest) -> HttpResponse:
    """What is on this phone only, what was refused, and what is safe at the office."""
    lead = request.user.role == Role.INSTALLER
    context = {
        "page_title": "On this phone",
        "back_url": reverse("on_site" if lead else "home"),
        "back_label": "Your visits" if lead else "Back",
    }
    return render(request, "jobs/on_site/kept.html", context)


@require_safe
@open_page
def no_signal(request: HttpRequest) -> HttpResponse:
    """Shown by the phone itself in place of a page that it does not keep."""
    return render(request, "jobs/on_site/no_signal.html", {"page_title": "No signal"})


urlpatterns = [
    path("on-site-worker.js", service_worker, name="on_site_worker"),
    path("on-site/phone/", phone, name="on_site_phone"),
    path("on-site/kept/", kept, name="on_site_kept"),
    path("on-site/no-signal/", no_signal, name="on_site_no_signal"),
]
