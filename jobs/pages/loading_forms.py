"""Forms for marking a load and for bringing back what is left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django import forms

from jobs.loading.load_lines import LoadLine
from jobs.loading.load_list import Load
from jobs.loading.movements import MOST_UNITS
from jobs.loading.vans import Taken
from jobs.models import StockItem


def units_field(label: str, **values: Any) -> forms.IntegerField:
    """Whole units, under a thumb."""
    widget = forms.NumberInput(attrs={"inputmode": "numeric"})
    given = {"min_value": 0, "max_value": MOST_UNITS, "required": False, "widget": widget}
    return forms.IntegerField(label=label, **{**given, **values})


class ActForm(forms.Form):
    """An act on the stock: sent twice, it is stored once."""

    client_key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        initial = {"client_key": uuid4(), **kwargs.pop("initial", {})}
        super().__init__(data, initial=initial, **kwargs)


@dataclass(frozen=True, slots=True)
class LineFields:
    """A line of the load with its two fields: what was taken, and why it differs."""

    line: LoadLine
    units: forms.BoundField
    reason: forms.BoundField

    @property
    def faulty(self) -> bool:
        return bool(self.units.errors or self.reason.errors)


class LoadForm(ActForm):
    """One load: as the list says, unless a number is changed and the reason given."""

    number = forms.IntegerField(widget=forms.HiddenInput)
    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, load: Load) -> None:
        super().__init__(data, initial={"number": load.number, "seen": load.fingerprint})
        self.load = load
        for line in load.lines:
            field = units_field("Taken", initial=line.units)
            self.fields[f"units_{line.item}"] = field
            self.fields[line.item] = forms.CharField(
                label="Why, if not as listed", max_length=200, required=False
            )

    def lines(self) -> Iterator[LineFields]:
        for line in self.load.lines:
            yield LineFields(line, self[f"units_{line.item}"], self[line.item])

    @property
    def opened(self) -> bool:
        """Whether the differences are shown unfolded: something in them has to be mended."""
        return any(row.faulty for row in self.lines())

    def taken(self) -> Mapping[str, Taken]:
        given = self.cleaned_data
        return {
            line.item: Taken(given[f"units_{line.item}"], given[line.item])
            for line in self.load.lines
            if given.get(f"units_{line.item}") is not None
        }


class UnitsForm(ActForm):
    """Units of several items at once: a delivery, a stock-take, what comes back."""

    note = forms.CharField(max_length=120, required=False)

    def __init__(
        self,
        data: Any = None,
        *,
        items: Mapping[StockItem, str],
        note_label: str = "Note",
        note_help: str = "",
        **kwargs: Any,
    ) -> None:
        """`items`: each with the words of help that stand at its field."""
        super().__init__(data, **kwargs)
        self.items = list(items)
        note = self.fields.pop("note")
        for item, words in items.items():
            self.fields[item.code] = units_field(f"{item.name}", help_text=words)
        self.fields["note"] = note
        note.label, note.help_text = note_label, note_help

    def given(self) -> dict[StockItem, int]:
        """What was filled in, a nought included."""
        values = self.cleaned_data
        return {item: values[item.code] for item in self.items if values[item.code] is not None}

    def units_fields(self) -> list[forms.BoundField]:
        return [self[item.code] for item in self.items]
