"""How long a company keeps personal data, and what will be erased in the days to come."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from http import HTTPStatus
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone

from compliance.models import ErasureRequest, LegalHold
from compliance.pages.roles import DECIDERS
from compliance.personal.kinds import BY_CODE, KINDS, DataKind, in_words, labels_of
from compliance.personal.retention import (
    AHEAD,
    Period,
    due_jobs,
    due_on,
    periods_of,
    set_period,
)
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.refusals import REFUSED, tried
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_navigation,
)

ROWS_A_PAGE = 50
OFFICER = frozenset({Role.COMPLIANCE_OFFICER})


class MonthsForm(forms.Form):
    """How long one kind is kept; the page tells why not shorter and not longer."""

    kind = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, kind: DataKind, months: int | None = None, **kwargs: Any):
        kwargs |= {"auto_id": f"{kind.code}_%s", "initial": {"kind": kind.code, "months": months}}
        super().__init__(*args, **kwargs)
        self.fields["months"] = forms.IntegerField(
            label="Months",
            min_value=kind.least_months,
            max_value=kind.most_months,
            error_messages={"invalid": "Give a whole number of months."},
        )


@page_for(*DECIDERS)
def retention(request: HttpRequest) -> HttpResponse:
    """The periods and what they erase; a period that is chosen comes here too."""
    user: User = request.user  # type: ignore[assignment]
    refused = None
    if request.method == "POST":
        kind = BY_CODE.get(request.POST.get("kind", ""), KINDS[0])
        refused = MonthsForm(request.POST, kind=kind)
        if tried(request, refused, partial(_set, user), kind=""):
            return redirect("retention")
    context = _context(request, user, refused)
    status = REFUSED if refused else HTTPStatus.OK
    return render(request, "compliance/personal/retention.html", context, status=status)


def _set(user: User, given: Mapping[str, Any]) -> str:
    period = set_period(user.company, given["kind"], given["months"], user)
    return f"{period.get_kind_display()}: kept {in_words(period.months)}."


def _context(request: HttpRequest, user: User, refused: MonthsForm | None) -> dict[str, Any]:
    periods = periods_of(user.company)
    shown = next((p for p in periods if p.kind.code == request.GET.get("kind")), periods[0])
    today = timezone.localdate()
    jobs = due_jobs(shown, user.company, today + AHEAD).with_place()
    page = Paginator(jobs, ROWS_A_PAGE).get_page(request.GET.get("page"))
    rows = [_row(period, user, today, refused) for period in periods]
    return {
        "periods": rows,
        "shown": shown,
        "page": page,
        "due": [(job, due_on(job, shown)) for job in page],
        "waiting": _waiting(user),
        "holds": LegalHold.objects.visible_to(user).open().select_related("job__property"),
        "today": today,
        "left_over": refused if refused and not any(r["form"] is refused for r in rows) else None,
        "page_title": "Personal data",
        "page_lead": "How long each kind is kept after a job was closed, and what is erased when. "
        "Erasing takes the data, never the proof.",
    }


def _row(period: Period, user: User, today: Any, refused: MonthsForm | None) -> dict[str, Any]:
    kind = period.kind
    is_refused = refused is not None and refused.data.get("kind", KINDS[0].code) == kind.code
    return {
        "period": period,
        "form": refused if is_refused else MonthsForm(kind=kind, months=period.months),
        "least": in_words(kind.least_months),
        "most": in_words(kind.most_months),
        "now": due_jobs(period, user.company, today).count(),
        "soon": due_jobs(period, user.company, today + AHEAD).count(),
    }


def _waiting(user: User) -> list[dict[str, Any]]:
    rows = ErasureRequest.objects.visible_to(user).waiting().select_related("job__property")
    return [{"request": row, "kinds": labels_of(row.kinds)} for row in rows[:ROWS_A_PAGE]]


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
]
