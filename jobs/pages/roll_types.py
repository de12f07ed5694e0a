"""The roll types a company lays: looked at, entered, changed, retired, taken in from a list."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST

from jobs.catalogues import INVENTED, has_own_roll_types
from jobs.edits import Source
from jobs.errors import Refused
from jobs.intake.files import MEDIA_TYPES
from jobs.models import CompanyRollType, Role, StockItem, User
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.edits import edits_page, history_link
from jobs.pages.refusals import REFUSED, tell, tried
from jobs.pages.roll_type_forms import RollSheetForm, RollTypeForm
from jobs.roll_sheets import NEEDED, ROLLS, take_in_roll_types, template_file
from jobs.roll_types import keep_roll_type, open_plans, set_in_use, work_out_again

JOBS_A_PAGE = 50
READS = (Role.PLANNER, Role.SURVEYOR)
BACK_TO_INVENTED = (
    "You have no roll type in use now: lofts are planned with invented ones until you enter or "
    "take up one of yours."
)


@page_for(*READS)
def roll_type_list(request: HttpRequest) -> HttpResponse:
    """Every roll type of the company with what follows from it, and how many jobs lay it."""
    user: User = request.user  # type: ignore[assignment]
    rolls = list(CompanyRollType.objects.visible_to(user))
    plans = open_plans(user.company, timezone.localdate())
    in_use = [roll for roll in rolls if roll.is_active]
    context = {
        "in_use": [(roll, plans.by_roll[roll.code]) for roll in in_use],
        "retired": [(roll, plans.by_roll[roll.code]) for roll in rolls if not roll.is_active],
        "invented": [] if in_use else INVENTED.rolls,
        "otherwise": sum(one.lays_others for one in plans.otherwise),
        "may_edit": user.role == Role.PLANNER,
        "page_title": "Roll types",
        "page_lead": "The wool you lay. Layers, cut lists, loads and U-values are worked out from "
        "it; a plan keeps the rolls it was made with, whatever is changed here.",
        "page_actions": _actions() if user.role == Role.PLANNER else [],
    }
    return render(request, "jobs/roll_types/roll_type_list.html", context)


def _actions() -> list[dict[str, Any]]:
    return [
        {"url": reverse("roll_type_new"), "label": "Enter a roll type"},
        {"url": reverse("roll_type_take_in"), "label": "Take in a list"},
        history_link("roll_type_edits"),
    ]


@page_for(Role.PLANNER)
def roll_type_form(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Enter or change a roll type."""
    user: User = request.user  # type: ignore[assignment]
    record = _own(request, pk) if pk else CompanyRollType()
    form = RollTypeForm(request.POST or None, instance=record, user=user)

    def keep(given: Any) -> str:
        kept = keep_roll_type(form.instance, by=user, version=given["version"])
        return f"{kept} is kept. Lofts that are planned from now on can have it."

    if request.method == "POST" and tried(request, form, keep):
        return redirect("roll_type_list")
    context = {
        "form": form,
        **(_facts_of(record, user) if pk else {}),
        "page_kicker": "Roll types",
        "page_title": f"Change {form.initial['name']}" if pk else "Enter a roll type",
    }
    status = REFUSED if form.errors else 200
    return render(request, "jobs/roll_types/roll_type_form.html", context, status=status)


def _own(request: HttpRequest, pk: int) -> CompanyRollType:
    return get_object_or_404(CompanyRollType.objects.visible_to(request.user), pk=pk)


def _facts_of(roll: CompanyRollType, user: User) -> dict[str, Any]:
    """The roll as it stands, apart from what is typed: who plans with it, whether it is kept."""
    stored = CompanyRollType.objects.get(pk=roll.pk)
    plans = open_plans(user.company, timezone.localdate())
    return {
        "roll": stored,
        "jobs": plans.by_roll[stored.code],
        "in_stock": StockItem.objects.visible_to(user).filter(code=stored.code).exists(),
    }


@require_POST
@page_for(Role.PLANNER)
def roll_type_in_use(request: HttpRequest, pk: int, in_use: bool) -> HttpResponse:
    """Retire a roll type, or take it up again."""
    roll = _own(request, pk)
    version = whole_number(request.POST.get("version", ""))

    def act() -> str:
        set_in_use(roll, in_use, by=request.user, version=version)
        return f"{roll} is {'in use again' if in_use else 'not planned with any more'}."

    tell(request, act)
    if not has_own_roll_types(roll.company_id):
        messages.warning(request, BACK_TO_INVENTED)
    return redirect("roll_type_list")


@page_for(Role.PLANNER)
def take_in(request: HttpRequest) -> HttpResponse:
    """A supplier's list, all of it or nothing."""
    user: User = request.user  # type: ignore[assignment]
    form = RollSheetForm(request.POST or None, request.FILES or None)

    def keep(given: Any) -> str:
        codes = take_in_roll_types(user.company, given["file"], given["file"].name, by=user)
        return f"{len(codes)} roll type{'s' * (len(codes) != 1)} kept: {', '.join(codes)}."

    if request.method == "POST" and tried(request, form, keep):
        return redirect("roll_type_list")
    context = {
        "form": form,
        "columns": ROLLS.names,
        "needed": NEEDED,
        "page_kicker": "Roll types",
        "page_title": "Take in a list",
        "page_lead": "One row for each roll type. A row whose code you have already changes that "
        "one; all rows are taken in, or none.",
    }
    status = REFUSED if form.errors else 200
    return render(request, "jobs/roll_types/take_in.html", context, status=status)


@page_for(Role.PLANNER)
def take_in_template(request: HttpRequest, kind: str) -> HttpResponse:
    """An empty list with every column."""
    try:
        content = template_file(kind)
    except Refused as refusal:
        raise Http404(str(refusal)) from refusal
    answer = HttpResponse(content, content_type=MEDIA_TYPES[kind])
    answer["Content-Disposition"] = content_disposition_header(True, f"roll types.{kind}")
    return answer


@page_for(*READS)
def planned_otherwise_list(request: HttpRequest) -> HttpResponse:
    """Open jobs whose plan was made with other roll types than those of today."""
    company = request.user.company  # type: ignore[union-attr]
    rows = open_plans(company, timezone.localdate()).otherwise  # type: ignore[arg-type]
    context = {
        "page": Paginator(rows, JOBS_A_PAGE).get_page(request.GET.get("page")),
        "page_kicker": "Roll types",
        "page_title": "Planned with other rolls",
        "page_lead": "Jobs that no crew has begun, whose layers were worked out before your roll "
        "types were what they are today. Worked out again, rolls, hours and U-value can change; "
        "booked visits stay where they are. Until then each keeps its plan.",
    }
    return render(request, "jobs/roll_types/planned_otherwise.html", context)


@require_POST
@page_for(*READS)
def all_worked_out_again(request: HttpRequest) -> HttpResponse:
    """Have all of them worked out again, in the background."""
    company = request.user.company  # type: ignore[union-attr]
    count = len(work_out_again(company, timezone.localdate()))
    said = "1 loft is" if count == 1 else f"{count} lofts are"
    messages.success(
        request,
        f"{said} being worked out again. What stays on this page waits still, or needs a hand: its "
        "job says why.",
    )
    return redirect("roll_type_planned_otherwise")


@page_for(Role.PLANNER)
def roll_type_edits(request: HttpRequest) -> HttpResponse:
    company = request.user.company  # type: ignore[union-attr]
    sources = [Source("jobs.CompanyRollTypeEvent", {"company_id": company.pk}, "Roll type")]
    return edits_page(request, sources, "Roll types", reverse("roll_type_list"))


urlpatterns = [
    path("roll-types/", roll_type_list, name="roll_type_list"),
    path("roll-types/new/", roll_type_form, name="roll_type_new"),
    path("roll-types/take-in/", take_in, name="roll_type_take_in"),
    path("roll-types/template.<str:kind>", take_in_template, name="roll_type_template"),
    path("roll-types/other-rolls/", planned_otherwise_list, name="roll_type_planned_otherwise"),
    path("roll-types/work-out-again/", all_worked_out_again, name="roll_type_work_out_again"),
    path("roll-types/history/", roll_type_edits, name="roll_type_edits"),
    path("roll-types/<int:pk>/", roll_type_form, name="roll_type"),
    path("roll-types/<int:pk>/retire/", roll_type_in_use, {"in_use": False}, "roll_type_retire"),
    path("roll-types/<int:pk>/take-up/", roll_type_in_use, {"in_use": True}, "roll_type_take_up"),
]
