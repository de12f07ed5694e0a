"""Forms for depots, what they keep, and what is ordered for them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.utils import timezone

from jobs.catalogues import catalogue_of
from jobs.loading.depots import Hours
from jobs.models import Crew, Depot, DepotHours, StockItem, StockMovement, User
from jobs.models.depots import Weekday
from jobs.pages.crew_forms import KeptForm
from jobs.pages.day_inputs import ClockInput, day_field
from jobs.pages.loading_forms import ActForm, units_field


class Offered(forms.TextInput):
    """A line to type in that offers values, each with a word about it."""

    template_name = "jobs/depots/offered.html"

    def __init__(self, values: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self.values = values

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        given = {**(attrs or {}), "list": f"offered_{name}"}
        return super().get_context(name, value, given) | {"values": self.values}


class DepotForm(KeptForm):
    """A depot with its hours: two times a weekday, both empty where it is closed."""

    class Meta:
        model = Depot
        fields = [
            "name",
            "address",
            "postcode",
            "nation",
            "latitude_deg",
            "longitude_deg",
            "reload_minutes",
            "is_active",
        ]
        labels = {
            "latitude_deg": "Latitude",
            "longitude_deg": "Longitude",
            "reload_minutes": "Minutes to load a van",
            "is_active": "In use",
        }
        help_texts = {
            "nation": "Whose bank holidays it keeps.",
            "reload_minutes": "25 is common practice, no published source.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        open_on = {row.weekday: row for row in self._stored_hours()}
        for weekday in Weekday:
            row = open_on.get(weekday.value)
            self.fields[f"opens_{weekday.value}"] = forms.TimeField(
                label=f"{weekday.label}, opens",
                required=False,
                widget=ClockInput(),
                initial=row.opens_at if row else None,
            )
            self.fields[f"closes_{weekday.value}"] = forms.TimeField(
                label="Closes", required=False, widget=ClockInput(),
                initial=row.closes_at if row else None,
            )  # fmt: skip

    def _stored_hours(self) -> list[DepotHours]:
        if self.instance.pk:
            return list(self.instance.hours.all())
        return [DepotHours(weekday=day, opens_at="07:00", closes_at="17:00") for day in range(5)]

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        for weekday in Weekday:
            opens, closes = (given.get(f"{word}_{weekday.value}") for word in ("opens", "closes"))
            if (opens is None) != (closes is None):
                self.add_error(
                    f"closes_{weekday.value}", "Give both times, or leave both empty: closed."
                )
            elif opens is not None and closes <= opens:
                self.add_error(f"closes_{weekday.value}", "Give a time later than the opening.")
        return given

    @property
    def hours(self) -> dict[int, Hours]:
        given = self.cleaned_data
        return {
            day.value: (given[f"opens_{day.value}"], given[f"closes_{day.value}"])
            for day in Weekday
            if given.get(f"opens_{day.value}") is not None
        }

    def place_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.Meta.fields]

    def hours_fields(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"opens_{day.value}"], self[f"closes_{day.value}"]) for day in Weekday]


class StockItemForm(KeptForm):
    class Meta:
        model = StockItem
        fields = [
            "name",
            "code",
            "unit",
            "units_per_pack",
            "pack_volume_m3",
            "lead_time_days",
            "reorder_point",
            "supplier",
            "is_active",
        ]
        labels = {
            "units_per_pack": "Units in a pack",
            "pack_volume_m3": "Volume of a pack",
            "lead_time_days": "Lead time",
            "reorder_point": "Units to keep",
            "is_active": "In use",
        }
        help_texts = {
            "code": "The code of a roll type, which are offered as you type, or the word for an "
            "accessory (eaves_tray): by it the load list finds the item.",
            "unit": "What one of it is counted in: roll, piece, m, tube.",
            "supplier": "Whom to order from, as you call them.",
        }

    def limit_choices(self, user: User) -> None:
        codes = [(roll.code, roll.name) for roll in catalogue_of(user.company_id).rolls]
        self.fields["code"].widget = Offered(codes)


class SpoiltForm(ActForm):
    item = forms.ModelChoiceField(StockItem.objects.none(), empty_label="Choose one")
    quantity = units_field("How many", required=True, min_value=1)
    reason = forms.CharField(max_length=200, help_text="Such as “wet”, “torn by the fork lift”.")

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        item: Any = self.fields["item"]
        item.queryset = StockItem.objects.visible_to(user)


class OrderForm(ActForm):
    """An order in whole packs."""

    item = forms.ModelChoiceField(StockItem.objects.none(), empty_label="Choose one")
    packs = units_field("Packs", required=True, min_value=1)
    due_on = day_field(label="Due on")
    note = forms.CharField(max_length=120, required=False)

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        item: Any = self.fields["item"]
        item.queryset = StockItem.objects.visible_to(user).filter(is_active=True)
        item.label_from_instance = lambda row: f"{row.name}, {row.units_per_pack:,} a pack"

    def clean_due_on(self) -> date:
        due_on: date = self.cleaned_data["due_on"]
        if due_on < timezone.localdate():
            raise forms.ValidationError("This day has passed: give the day it is to come.")
        return due_on


class ArrivedForm(forms.Form):
    quantity = units_field("Units that came", required=True)
    version = forms.IntegerField(widget=forms.HiddenInput)


class CorrectionForm(ActForm):
    quantity = forms.IntegerField(
        label="What it should have been", help_text="Above zero for what came in, below for out."
    )
    reason = forms.CharField(max_length=200)


class LedgerFilter(forms.Form):
    item = forms.ModelChoiceField(
        StockItem.objects.none(), required=False, empty_label="Every item"
    )
    kind = forms.ChoiceField(
        label="What", required=False, choices=[("", "Everything"), *StockMovement.Kind.choices]
    )
    crew = forms.ModelChoiceField(Crew.objects.none(), required=False, empty_label="Any crew")
    since = day_field(required=False)

    def __init__(self, data: Any, *, user: User, depot: Depot) -> None:
        super().__init__(data)
        self.depot = depot
        for name, model in (("item", StockItem), ("crew", Crew)):
            field: Any = self.fields[name]
            field.queryset = model.objects.visible_to(user)

    @property
    def chosen(self) -> dict[str, Any]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        return len(self.chosen.keys() - {"item"})

    def movements(self) -> Any:
        chosen = self.chosen
        rows = StockMovement.objects.filter(depot=self.depot).with_names()
        for name in ("item", "kind", "crew"):
            if name in chosen:
                rows = rows.filter(**{name: chosen[name]})
        if "since" in chosen:
            rows = rows.filter(at__date__gte=chosen["since"])
        if "item" in chosen:
            return rows.order_by("-number")
        return rows.newest_first()
