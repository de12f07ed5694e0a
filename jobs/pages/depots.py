"""Depots and what they keep: where they stand now, what to order by when."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone

from jobs.catalogues import has_own_roll_types
from jobs.errors import Refused
from jobs.loading.depots import keep_depot, keep_item
from jobs.loading.order_paper import order_csv
from jobs.loading.standing import standing_of
from jobs.models import CompanyRollType, Depot, Role, StockItem
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.depot_forms import DepotForm, StockItemForm
from jobs.pages.edits import history_link
from jobs.pages.refusals import show_refusal

READS = (Role.PLANNER, Role.SURVEYOR)
REFUSED = 422


def own_depot(request: HttpRequest, pk: int) -> Depot:
    depots = Depot.objects.visible_to(request.user).prefetch_related("hours", "crews")
    return get_object_or_404(depots, pk=pk)


@page_for(*READS)
def depot_list(request: HttpRequest) -> HttpResponse:
    """Each depot with what runs short there; and the items the company keeps."""
    today, user = timezone.localdate(), request.user
    depots = Depot.objects.visible_to(user).prefetch_related("hours", "crews")
    may_edit = user.role == Role.PLANNER
    context = {
        "standings": [standing_of(depot, today) for depot in depots],
        "items": StockItem.objects.visible_to(user),
        "invented": not has_own_roll_types(user.company_id),
        "may_edit": may_edit,
        "page_title": "Depots",
        "page_lead": "Where vans are loaded, what lies there, and what to order by when.",
        "page_actions": [
            {"url": reverse("depot_new"), "label": "Add a depot"},
            history_link("depot_edits"),
        ]
        * may_edit,
    }
    return render(request, "jobs/depots/depot_list.html", context)


@page_for(*READS)
def depot(request: HttpRequest, pk: int) -> HttpResponse:
    """Stock now, what booked visits take in the weeks ahead, and what to order by when."""
    found = own_depot(request, pk)
    may_edit = request.user.role == Role.PLANNER
    context = {
        "standing": standing_of(found, timezone.localdate()),
        "may_edit": may_edit,
        "page_kicker": "Depot",
        "page_title": found.name,
        "page_lead": ", ".join(part for part in (found.address, found.postcode) if part),
        "page_actions": _actions(found) if may_edit else [],
    }
    return render(request, "jobs/depots/depot.html", context)


def _actions(found: Depot) -> list[dict[str, Any]]:
    return [
        {"url": reverse("depot_receive", args=[found.pk]), "label": "Receive a delivery"},
        {"url": reverse("depot_count", args=[found.pk]), "label": "Stock-take"},
        {"url": reverse("depot_order", args=[found.pk]), "label": "Note an order"},
        {"url": reverse("depot_edit", args=[found.pk]), "label": "Edit"},
        history_link("depot_edits"),
    ]


@page_for(*READS)
def order_list(request: HttpRequest, pk: int) -> HttpResponse:
    """What to order by when, to print."""
    found = own_depot(request, pk)
    context = {
        "standing": standing_of(found, timezone.localdate()),
        "page_kicker": found.name,
        "page_title": "What to order by when",
        "page_lead": "From the visits booked today; in whole packs, over working days.",
        "page_actions": [{"url": reverse("depot_order_csv", args=[pk]), "label": "As CSV"}],
    }
    return render(request, "jobs/depots/order_list.html", context)


@page_for(*READS)
def order_list_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for a spreadsheet."""
    found = own_depot(request, pk)
    today = timezone.localdate()
    answer = HttpResponse(
        order_csv(standing_of(found, today).warnings), content_type="text/csv; charset=utf-8"
    )
    answer["Content-Disposition"] = f'attachment; filename="to-order-{today}.csv"'
    return answer


@page_for(Role.PLANNER)
def depot_form(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add or edit a depot with its hours."""
    record = own_depot(request, pk) if pk else Depot()
    form = DepotForm(request.POST or None, instance=record, user=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            keep_depot(form.instance, form.hours, version=form.cleaned_data["version"])
            messages.success(request, f"{record} is saved.")
            return redirect("depot", pk=record.pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    title = f"Edit {form.initial.get('name', '')}" if pk else "Add a depot"
    context = {"form": form, "page_title": title.strip()}
    status = REFUSED if form.errors else 200
    return render(request, "jobs/depots/depot_form.html", context, status=status)


@page_for(Role.PLANNER)
def item_form(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Add or edit an item of the stock."""
    mine = StockItem.objects.visible_to(request.user)
    record = get_object_or_404(mine, pk=pk) if pk else _of_roll(request)
    form = StockItemForm(request.POST or None, instance=record, user=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            keep_item(form.instance, version=form.cleaned_data["version"])
            messages.success(request, f"{record} is saved.")
            return redirect("depot_list")
        except Refused as refusal:
            show_refusal(form, refusal)
    title = f"Edit {form.initial.get('name', '')}" if pk else "Add an item"
    context = {"form": form, "back_url": reverse("depot_list"), "page_title": title.strip()}
    status = REFUSED if form.errors else 200
    return render(request, "jobs/depots/form.html", context, status=status)


def _of_roll(request: HttpRequest) -> StockItem:
    """A new item, filled in from the roll type it is asked for."""
    asked = whole_number(request.GET.get("roll", ""))
    roll = None
    if asked is not None:
        roll = CompanyRollType.objects.visible_to(request.user).filter(pk=asked).first()
    if roll is None:
        return StockItem()
    return StockItem(code=roll.code, name=roll.name, pack_volume_m3=roll.packed_volume_m3)


urlpatterns = [
    path("depots/", depot_list, name="depot_list"),
    path("depots/new/", depot_form, name="depot_new"),
    path("depots/<int:pk>/", depot, name="depot"),
    path("depots/<int:pk>/edit/", depot_form, name="depot_edit"),
    path("depots/<int:pk>/to-order/", order_list, name="depot_to_order"),
    path("depots/<int:pk>/to-order.csv", order_list_csv, name="depot_order_csv"),
    path("stock-items/new/", item_form, name="stock_item_new"),
    path("stock-items/<int:pk>/", item_form, name="stock_item_edit"),
]
