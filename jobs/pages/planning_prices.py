"""The office's prices: what plans are weighed by, who changed them when, and ways back."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path

from jobs.models import OfficePrices, Role, User
from jobs.models.office_prices import DEAREST_MIN
from jobs.pages.access import page_for
from jobs.pages.platform import kept
from jobs.planning.prices import (
    LEFT_OUT,
    WORDS,
    Prices,
    history_of_prices,
    prices_in_force,
    set_prices,
    spell_price,
)

GROUPS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    (
        "Time",
        "What a plan may drive further for.",
        ("late_day_min", "overtime_hour_min", "crew_day_min"),
    ),
    (
        "Leaving out",
        "So much further a plan may drive, in all, to fit one such visit in. What is booked counts "
        "eight times as much, what is promised sixteen times.",
        LEFT_OUT,
    ),
    (
        "Promises",
        "What a household was told is kept unless keeping it costs more than this.",
        ("other_time_min", "other_day_min", "other_crew_min", "booked_percent"),
    ),
    ("Wishes", "A visit may name the crew that it would rather have.", ("not_preferred_min",)),
)


class PricesForm(forms.Form):
    """Each price in minutes of driving, beside what it comes to and what is usual."""

    note = forms.CharField(
        label="Why they change",
        max_length=200,
        required=False,
        help_text="Stands in the history, for whoever asks later.",
    )
    follows = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, prices: Prices, number: int) -> None:
        plain = {name: f"{value:g}" for name, value in asdict(prices).items()}
        super().__init__(data, initial={**plain, "follows": number})
        usual = asdict(Prices())
        for name, words in WORDS.items():
            most = 100 if name == "booked_percent" else DEAREST_MIN
            self.fields[name] = forms.FloatField(
                label=words if name == "booked_percent" else f"{words} costs as much as",
                min_value=0,
                max_value=most,
                help_text=f"Usual: {spell_price(name, usual[name])}.",
                widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
            )

    @property
    def groups(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """The prices by what they are about."""
        return [(title, note, [self[name] for name in names]) for title, note, names in GROUPS]

    @property
    def prices(self) -> Prices:
        return Prices(**{name: self.cleaned_data[name] for name in WORDS})


@page_for(Role.PLANNER)
def prices(request: HttpRequest) -> HttpResponse:
    """What new plans begin with: looked at, changed, and gone back to."""
    user: User = request.user  # type: ignore[assignment]
    rows = OfficePrices.objects.visible_to(user)
    now = prices_in_force(user.company)
    begin, words = _begin_with(request.GET.get("from", ""), list(rows), now)
    form = PricesForm(request.POST or None, prices=begin, number=now.number if now else 0)
    changed = kept(
        form,
        request,
        lambda given: set_prices(
            user.company, form.prices, by=user, note=given["note"], follows=given["follows"]
        ),
    )
    if changed is not None:
        messages.success(request, "Kept. Plans that are asked for from now on begin with these.")
        return redirect("planning_prices")
    context = {
        "form": form,
        "now": now,
        "filled_with": words,
        "history": history_of_prices(rows),
        "page_title": "Prices of a plan",
        "page_kicker": "Planning",
        "page_lead": "A plan holds one thing against another. Here the office says what each "
        "costs, in minutes of driving.",
    }
    return render(request, "jobs/planning/prices.html", context)


def _begin_with(
    chosen: str, rows: list[OfficePrices], now: OfficePrices | None
) -> tuple[Prices, str]:
    """The prices the form is filled with, and which these are if not those in force."""
    if chosen == "usual":
        return Prices(), "the usual prices"
    earlier = next((row for row in rows if str(row.number) == chosen), None)
    if earlier is not None and earlier != now:
        return Prices.of(earlier), f"prices {earlier.number}, of {earlier.set_at:%-d %b %Y}"
    return Prices.of(now), ""


urlpatterns = [path("planning/prices/", prices, name="planning_prices")]
