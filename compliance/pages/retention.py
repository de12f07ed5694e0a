"""How long a company keeps personal data, and what will be erased in the days to come."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.models import ErasureRequest, LegalHold
from compliance.pages.roles import DECIDERS
from compliance.personal.kinds import in_words, labels_of
from compliance.personal.retention import AHEAD, due_jobs, due_on, periods_of, set_period
from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_navigation,
)

ROWS_A_PAGE = 50
OFFICER = frozenset({Role.COMPLIANCE_OFFICER})


class MonthsForm(forms.Form):
    months = forms.IntegerField(label="Months")

    def __init__(self, period: Any, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"{period.kind.code}_%s", **kwargs)
        self.fields["months"] = forms.IntegerField(
            label="Months",
            initial=period.months,
            min_value=period.kind.least_months,
            max_value=period.kind.most_months,
        )


@page_for(*DECIDERS)
def retention(request: HttpRequest) -> HttpResponse:
    user: User = request.user  # type: ignore[assignment]
    periods = periods_of(user.company)
    shown = next((p for p in periods if p.kind.code == request.GET.get("kind")), periods[0])
    today = timezone.localdate()
    jobs = due_jobs(shown, user.company, today + AHEAD).with_place()
    page = Paginator(jobs, ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "periods": [_row(period, user, today) for period in periods],
        "shown": shown,
        "page": page,
        "due": [(job, due_on(job, shown)) for job in page],
        "waiting": _waiting(user),
        "holds": LegalHold.objects.visible_to(user).open().select_related("job__property"),
        "today": today,
        "page_title": "Personal data",
        "page_lead": "How long each kind is kept after a job was closed, and what is erased when. "
        "Erasing takes the data, never the proof.",
    }
    return render(request, "compliance/personal/retention.html", context)


def _row(period: Any, user: User, today: Any) -> dict[str, Any]:
    return {
        "period": period,
        "form": MonthsForm(period),
        "least": in_words(period.kind.least_months),
        "most": in_words(period.kind.most_months),
        "now": due_jobs(period, user.company, today).count(),
        "soon": due_jobs(period, user.company, today + AHEAD).count(),
    }


def _waiting(user: User) -> list[dict[str, Any]]:
    rows = ErasureRequest.objects.visible_to(user).waiting().select_related("job__property")
    return [{"request": row, "kinds": labels_of(row.kinds)} for row in rows[:ROWS_A_PAGE]]


@require_POST
@page_for(*DECIDERS)
def retention_set(request: HttpRequest) -> HttpResponse:
    """Choose how long a kind is kept."""
    user: User = request.user  # type: ignore[assignment]
    try:
        months = int(request.POST.get("months") or 0)
        period = set_period(user.company, request.POST.get("kind", ""), months, user)
        messages.success(request, f"{period.get_kind_display()}: kept {in_words(period.months)}.")
    except ValueError:
        messages.error(request, "Give a whole number of months.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("retention")


def erasure_attention(user: User) -> list[Attention]:
    """Erasures that wait for this person as the second one."""
    waiting = ErasureRequest.objects.visible_to(user).waiting().exclude(asked_by=user)
    first = waiting.order_by("pk").first()
    count = waiting.count()
    words = "erasure waits" if count == 1 else "erasures wait"
    url = reverse("personal_data", args=[first.job_id]) if first else ""
    return [Attention(count, f"{words} for a second person", url)]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_attention(frozenset(DECIDERS), erasure_attention)
    register_navigation(NavigationItem("Personal data", "retention", OFFICER, 78))


urlpatterns = [
    path("proof/personal/", retention, name="retention"),
    path("proof/personal/set/", retention_set, name="retention_set"),
]
