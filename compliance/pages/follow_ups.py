"""What auditors ask for after a finding, and what the company does about it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.audits.follow_up import ask_follow_up, take_up, turn_down
from compliance.models import AuditFollowUp, AuditRound, Finding
from compliance.pages.audit_forms import AskForm
from compliance.pages.audit_round_parts import draw_parts, plan_words, scope_words
from compliance.pages.audits import population_answer
from jobs.errors import Refused
from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.paging import LatePages
from jobs.pages.refusals import REFUSED, tried
from jobs.pages.registry import Attention, register_attention

ANSWERERS = (Role.COMPLIANCE_OFFICER, Role.PLANNER)
SHOWN_ANSWERED = 50
WAITING_A_PAGE = 25
PAGE = "compliance/audits/asked.html"
ACTS = {"take_up": take_up, "turn_down": turn_down}


class FollowUpAnswerForm(forms.Form):
    note = forms.CharField(
        max_length=600,
        required=False,
        label="Note",
        widget=forms.Textarea(attrs={"rows": 1}),
        help_text="Needed when you turn it down. No names: it stays in the ledger.",
    )

    def __init__(self, data: Any = None, *, pk: int) -> None:
        super().__init__(data, auto_id=f"asked_{pk}_%s")


@require_POST
@page_for(Role.AUDITOR)
def follow_up_ask(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for a call-back or a withdrawal because of a finding."""
    findings = Finding.objects.visible_to(request.user)
    finding = get_object_or_404(
        findings.select_related("drawn_job__round", "drawn_job__job"), pk=pk
    )
    form = AskForm(request.POST)
    try:
        if not form.is_valid():
            raise Refused("Say what is asked for: a call-back or a withdrawal.")
        asked = ask_follow_up(finding, **form.cleaned_data, by=request.user)
        messages.success(
            request, f"Asked: {asked.get_kind_display().lower()}, by {asked.due_on:%-d %b %Y}."
        )
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=finding.drawn_job.round_id)


@page_for(*ANSWERERS)
def asked(request: HttpRequest) -> HttpResponse:
    """What auditors asked of the company: first what waits, then what was answered."""
    return render(request, PAGE, _context(request))


def _context(
    request: HttpRequest, refused: FollowUpAnswerForm | None = None, pk: int = 0
) -> dict[str, Any]:
    """refused: the form of the follow-up `pk`, with all that was given still in it."""
    follow_ups = AuditFollowUp.objects.visible_to(request.user).with_place()
    page = _page_of(request, follow_ups.waiting().order_by("due_on", "pk"), pk)
    is_offered = any(each.pk == pk for each in page)
    return {
        "waiting": [
            (each, refused if refused and each.pk == pk else FollowUpAnswerForm(pk=each.pk))
            for each in page
        ],
        "page": page,
        "left_over": None if is_offered else refused,
        "answered": follow_ups.filter(answer__isnull=False)[:SHOWN_ANSWERED],
        "today": timezone.localdate(),
        "may_withdraw": request.user.role == Role.COMPLIANCE_OFFICER,  # type: ignore[union-attr]
        "page_kicker": "Findings",
        "page_title": "Asked by auditors",
    }


def _page_of(request: HttpRequest, waiting: Any, pk: int) -> Any:
    """The page asked for, or the one that `pk` stands on."""
    keys = list(waiting.values_list("pk", flat=True)) if pk else []
    number = keys.index(pk) // WAITING_A_PAGE + 1 if pk in keys else request.GET.get("page")
    return LatePages(waiting, WAITING_A_PAGE).get_page(number)


@page_for(*ANSWERERS)
def draw_shown(request: HttpRequest, pk: int) -> HttpResponse:
    """How a round that drew jobs of the company was drawn, and how to repeat it."""
    record = _shown(request, pk)
    own = record.company_id == request.user.company_id
    context = {
        "population_url": reverse("draw_population", args=[pk]) if own else "",
        "plan_words": plan_words(record),
        "scope_words": scope_words(record),
        "page_kicker": "Findings",
        "page_title": f"How {record.name} was drawn",
        **draw_parts(record, repeat=bool(request.GET.get("repeat"))),
    }
    return render(request, "compliance/audits/draw_shown.html", context)


@page_for(*ANSWERERS)
def draw_population(request: HttpRequest, pk: int) -> HttpResponse:
    """The sealed list of a round over this company alone."""
    record = _shown(request, pk)
    if record.company_id != request.user.company_id:
        raise Http404
    return population_answer(record)


def _shown(request: HttpRequest, pk: int) -> AuditRound:
    rounds = AuditRound.objects.shown_to_company(request.user.company_id)
    return get_object_or_404(
        rounds.select_related("seal", "company", "crew__company", "scheme", "auditor"), pk=pk
    )


@require_POST
@page_for(*ANSWERERS)
def follow_up_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Do what was asked, or say why not."""
    follow_ups = AuditFollowUp.objects.visible_to(request.user).with_place()
    follow_up = get_object_or_404(follow_ups, pk=pk)
    form = FollowUpAnswerForm(request.POST, pk=pk)

    def answered(given: Mapping[str, Any]) -> str:
        act = ACTS.get(request.POST.get("answer", ""))
        if act is None:
            raise Refused("Say whether it is done, or turned down.", field="answer")
        return _told(act(follow_up, request.user, given["note"]))

    if tried(request, form, answered):
        return redirect("asked_by_auditors")
    return render(request, PAGE, _context(request, form, pk), status=REFUSED)


def _told(answer: object) -> str:
    if not answer.done:  # type: ignore[attr-defined]
        return "Turned down. The auditor sees your reason."
    if answer.need_id:  # type: ignore[attr-defined]
        first = "The certificate is withdrawn. " if answer.withdrawal_id else ""  # type: ignore[attr-defined]
        return f"{first}The call-back waits to be booked on the planning board."
    return "The certificate is withdrawn."


def asked_attention(user: User) -> list[Attention]:
    """What waits, the overdue told apart."""
    waiting = AuditFollowUp.objects.visible_to(user).waiting()
    if user.role == Role.PLANNER:
        waiting = waiting.of_kind(AuditFollowUp.Kind.CALL_BACK)
    late = waiting.filter(due_on__lt=timezone.localdate()).count()
    rest = waiting.count() - late
    url = reverse("asked_by_auditors")
    return [
        Attention(late, f"{_asked_words(user, late)} asked by auditors overdue", url, "now"),
        Attention(rest, f"{_asked_words(user, rest)} asked by auditors to decide on", url, "now"),
    ]


def _asked_words(user: User, count: int) -> str:
    if user.role == Role.PLANNER:
        return "call-back" if count == 1 else "call-backs"
    return "call-back or withdrawal" if count == 1 else "call-backs or withdrawals"


def overdue_attention(user: User) -> list[Attention]:
    """What the auditor asked and nobody answered in time."""
    late = AuditFollowUp.objects.visible_to(user).waiting().filter(due_on__lt=timezone.localdate())
    rounds = list(late.order_by("due_on").values_list("round_id", flat=True))
    url = reverse("audit_round", args=rounds[:1]) if rounds else ""
    words = "call-back or withdrawal" if len(rounds) == 1 else "call-backs or withdrawals"
    return [Attention(len(rounds), f"{words} you asked for overdue", url)]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_attention(frozenset(ANSWERERS), asked_attention)
    register_attention(frozenset({Role.AUDITOR}), overdue_attention)


urlpatterns = [
    path("audit/findings/<int:pk>/ask/", follow_up_ask, name="follow_up_ask"),
    path("findings/asked/", asked, name="asked_by_auditors"),
    path("findings/asked/<int:pk>/answer/", follow_up_answer, name="follow_up_answer"),
    path("findings/draws/<int:pk>/", draw_shown, name="draw_shown"),
    path("findings/draws/<int:pk>/population/", draw_population, name="draw_population"),
]
