"""How long something takes, shown and typed in hours and minutes: “0:50” for fifty minutes."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.planning.spelling import parse_length, spell_length


class LengthField(forms.Field):
    """A length of time; its value is in hours [h].

    Whole minutes are shown. What is left as it was shown keeps its exact length: a form says so
    in its `clean_...` by `unless_untouched`.
    """

    widget = forms.TextInput

    def __init__(self, *, shortest_h: float, longest_h: float, **given: Any) -> None:
        super().__init__(**given)
        self.shortest_h, self.longest_h = shortest_h, longest_h

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {"size": 6, "autocomplete": "off", "maxlength": 20}

    def prepare_value(self, value: Any) -> Any:
        return spell_length(value) if isinstance(value, int | float) else value

    def to_python(self, value: Any) -> float | None:
        if value in self.empty_values:
            return None
        try:
            return parse_length(str(value))
        except ValueError as unread:
            raise forms.ValidationError(
                f"“{str(value)[:20]}” is no length of time: give hours and minutes, such as 2:30."
            ) from unread

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is not None and value < self.shortest_h:
            raise forms.ValidationError(f"At least {spell_length(self.shortest_h)}: enter more.")
        if value is not None and value > self.longest_h:
            raise forms.ValidationError(f"At most {spell_length(self.longest_h)}: enter less.")

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return unless_untouched(self.to_python(data), initial) != initial
        except forms.ValidationError:
            return True


def unless_untouched(typed: float | None, stored: float | None) -> float | None:
    """What was typed [h]; what is stored, to the second, where that is shown in the same words."""
    if typed is None or stored is None:
        return typed
    return stored if spell_length(typed) == spell_length(stored) else typed
