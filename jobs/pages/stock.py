"""Acts on a depot's stock and its ledger: deliveries, stock-takes, losses, orders, corrections."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.loading.movements import correct_movement, count_stock, receive_delivery, record_spoilt
from jobs.loading.orders import cancel_order, order_arrived, place_order
from jobs.loading.stock import stock_now
from jobs.models import Depot, Role, StockItem, StockMovement, StockOrder
from jobs.pages.access import page_for
from jobs.pages.depot_forms import ArrivedForm, CorrectionForm, LedgerFilter, OrderForm, SpoiltForm
from jobs.pages.depots import READS, REFUSED, own_depot
from jobs.pages.loading_forms import UnitsForm
from jobs.pages.refusals import show_refusal

ROWS_A_PAGE = 60


@page_for(*READS)
def ledger(request: HttpRequest, pk: int) -> HttpResponse:
    """Every movement with the balance after it, newest first."""
    depot = own_depot(request, pk)
    shown = LedgerFilter(request.GET, user=request.user, depot=depot)
    context = {
        "depot": depot,
        "filter": shown,
        "page": Paginator(shown.movements(), ROWS_A_PAGE).get_page(request.GET.get("page")),
        "may_edit": request.user.role == Role.PLANNER,
        "page_kicker": depot.name,
        "page_title": "Movements of the stock",
        "page_lead": "Never changed: a correction is a new row that names the one it replaces.",
        "page_actions": [{"url": reverse("depot", args=[pk]), "label": "The depot"}],
    }
    return render(request, "jobs/depots/ledger.html", context)


def _tried(form: Any, act: Callable[[], object], **renamed: str) -> bool:
    """Carry the act out; refused, the form says why."""
    try:
        act()
    except Refused as refusal:
        show_refusal(form, refusal, **renamed)
        return False
    return True


def _items(request: HttpRequest, words: Callable[[StockItem], str]) -> dict[StockItem, str]:
    rows = StockItem.objects.visible_to(request.user).filter(is_active=True)
    return {item: words(item) for item in rows}


def _show_units(
    request: HttpRequest, depot: Depot, form: UnitsForm, title: str, lead: str, submit: str
) -> HttpResponse:
    context = {
        "form": form,
        "back_url": reverse("depot", args=[depot.pk]),
        "submit": submit,
        "nothing": "You keep no items yet: add one on the depots page.",
        "page_kicker": depot.name,
        "page_title": title,
        "page_lead": lead,
    }
    status = REFUSED if form.errors else 200
    return render(request, "jobs/loading/units_form.html", context, status=status)


@page_for(Role.PLANNER)
def receive(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a delivery to the stock, several items at once."""
    depot = own_depot(request, pk)
    items = _items(request, lambda item: f"{item.unit}; {item.units_per_pack:,} a pack")
    form = UnitsForm(request.POST or None, items=items, note_label="Delivery note")
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data

        def act() -> None:
            receive_delivery(
                depot, form.given(), by=request.user, note=given["note"], key=given["client_key"]
            )

        if _tried(form, act):
            messages.success(request, "The delivery is in the stock.")
            return redirect("depot", pk=pk)
    lead = "In units, not packs. What is left empty did not come."
    return _show_units(request, depot, form, "Receive a delivery", lead, "Into the stock")


@page_for(Role.PLANNER)
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the stock to what was counted."""
    depot = own_depot(request, pk)
    held = stock_now(depot)
    items = _items(
        request, lambda item: f"{held.get(item.code, 0):,} by the ledger, in {item.unit}"
    )
    form = UnitsForm(request.POST or None, items=items, note_label="Who counted, and why")
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data

        def act() -> None:
            count_stock(
                depot, form.given(), by=request.user, note=given["note"], key=given["client_key"]
            )

        if _tried(form, act):
            messages.success(request, "The stock is what was counted.")
            return redirect("depot", pk=pk)
    lead = (
        "Fill in what was counted. What is left empty stays as it is; a difference is a movement."
    )
    return _show_units(request, depot, form, "Stock-take", lead, "This was counted")


def _show_form(request: HttpRequest, depot: Depot, form: Any, title: str) -> HttpResponse:
    context = {
        "form": form,
        "back_url": reverse("depot", args=[depot.pk]),
        "page_kicker": depot.name,
        "page_title": title,
    }
    status = REFUSED if form.errors else 200
    return render(request, "jobs/depots/form.html", context, status=status)


@page_for(Role.PLANNER)
def spoilt(request: HttpRequest, pk: int) -> HttpResponse:
    """Take what is wet, torn or lost out of the stock."""
    depot = own_depot(request, pk)
    form = SpoiltForm(request.POST or None, user=request.user)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        lost = {given["item"]: given["quantity"]}

        def act() -> None:
            record_spoilt(depot, lost, given["reason"], by=request.user, key=given["client_key"])

        if _tried(form, act, **{given["item"].code: "quantity"}):
            messages.success(request, "It is out of the stock.")
            return redirect("depot", pk=pk)
    return _show_form(request, depot, form, "Spoilt or lost")


@page_for(Role.PLANNER)
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Note an order, so that the days ahead count on it."""
    depot = own_depot(request, pk)
    initial = {name: request.GET.get(name) for name in ("item", "packs", "due_on")}
    form = OrderForm(request.POST or None, user=request.user, initial=initial)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        item = given["item"]
        units = given["packs"] * item.units_per_pack

        def act() -> None:
            place_order(
                depot, item, units, given["due_on"], by=request.user, note=given["note"],
                key=given["client_key"],
            )  # fmt: skip

        if _tried(form, act, quantity="packs", **{item.code: "packs"}):
            messages.success(request, f"Noted: {units:,} of {item}, due {given['due_on']:%-d %b}.")
            return redirect("depot", pk=pk)
    return _show_form(request, depot, form, "Note an order")


def _own_order(request: HttpRequest, pk: int) -> StockOrder:
    orders = StockOrder.objects.visible_to(request.user).with_names()
    return get_object_or_404(orders, pk=pk)


@page_for(Role.PLANNER)
def arrived(request: HttpRequest, pk: int) -> HttpResponse:
    """Take what came of an order into the stock."""
    found = _own_order(request, pk)
    initial = {"quantity": found.quantity, "version": found.version}
    form = ArrivedForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data

        def act() -> None:
            order_arrived(found, given["quantity"], by=request.user, version=given["version"])

        if _tried(form, act, **{found.item.code: "quantity"}):
            messages.success(request, f"{given['quantity']:,} of {found.item} are in the stock.")
            return redirect("depot", pk=found.depot_id)
    title = f"{found.item} arrived"
    return _show_form(request, found.depot, form, title)


@require_POST
@page_for(Role.PLANNER)
def order_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Count on an order no more."""
    found = _own_order(request, pk)
    try:
        cancel_order(found)
        messages.success(request, "The order is cancelled; nothing counts on it.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("depot", pk=found.depot_id)


@page_for(Role.PLANNER)
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a movement right by a new one that replaces it."""
    movements = StockMovement.objects.visible_to(request.user).with_names()
    found = get_object_or_404(movements, pk=pk)
    form = CorrectionForm(request.POST or None, initial={"quantity": found.quantity})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data

        def act() -> None:
            correct_movement(
                found, given["quantity"], given["reason"], by=request.user, key=given["client_key"]
            )

        if _tried(form, act, **{found.item.code: "quantity"}):
            messages.success(request, "The movement is corrected.")
            return redirect("depot_ledger", pk=found.depot_id)
    title = f"Correct: {found.get_kind_display()} {found.quantity:+,} {found.item}"
    return _show_form(request, found.depot, form, title)


DEPOT = "depots/<int:pk>/"
urlpatterns = [
    path(f"{DEPOT}ledger/", ledger, name="depot_ledger"),
    path(f"{DEPOT}receive/", receive, name="depot_receive"),
    path(f"{DEPOT}count/", count, name="depot_count"),
    path(f"{DEPOT}spoilt/", spoilt, name="depot_spoilt"),
    path(f"{DEPOT}order/", order, name="depot_order"),
    path("stock-orders/<int:pk>/arrived/", arrived, name="stock_order_arrived"),
    path("stock-orders/<int:pk>/cancel/", order_cancel, name="stock_order_cancel"),
    path("stock-movements/<int:pk>/correct/", correct, name="stock_movement_correct"),
]
