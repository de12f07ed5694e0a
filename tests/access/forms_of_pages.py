"""The forms that a page offers, read from its HTML: what may be given, and what is given."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

WORDS = ("text", "textarea")
TYPED_INTO = (*WORDS, "date", "number", "time", "email", "tel")
MARKS = ("checkbox", "radio")
UNSEEN = ("hidden", "file", "submit", "password")
EMPTY_ROW = "__prefix__"
"""In the names of a row that a script copies, which nobody fills in itself."""

TYPED = "Words that took a while"
A_DAY = "2031-07-29"


@dataclass
class Input:
    """One place to give something. values: what is in it, chosen or ticked now."""

    name: str
    kind: str
    offered: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)

    def given(self) -> list[str]:
        """Words where words go, a day, else what is there already or the last of the choices."""
        if self.kind in WORDS:
            return [TYPED]
        if self.kind == "date":
            return [A_DAY]
        if self.kind == "number":
            return self.values or ["7"]
        chosen = [value for value in self.offered if value][-1:]
        return chosen if self.kind in (*MARKS, "select") else self.values


@dataclass
class Form:
    """A form that is posted by the browser itself, not through the phone's queue."""

    action: str
    inputs: list[Input] = field(default_factory=list)
    buttons: list[tuple[str, str]] = field(default_factory=list)

    @property
    def names(self) -> tuple[str, ...]:
        """What a person fills in or chooses; buttons and what is hidden are no loss."""
        seen = (i.name for i in self.inputs if i.kind not in UNSEEN)
        return tuple(sorted({name for name in seen if EMPTY_ROW not in name}))

    @property
    def takes_words(self) -> bool:
        return any(i.kind in TYPED_INTO and i.name in self.names for i in self.inputs)

    def filled(self) -> dict[str, list[str]]:
        given: dict[str, list[str]] = {}
        for each in self.inputs:
            before = [] if each.kind == "radio" else given.get(each.name, [])
            given[each.name] = [*before, *each.given()]
        return given

    def holds(self) -> dict[str, set[str]]:
        held: dict[str, set[str]] = {name: set() for name in self.names}
        for each in self.inputs:
            if each.name in held:
                held[each.name] |= {value.strip() for value in each.values}
        return held


class FormReader(HTMLParser):
    def __init__(self, page: str, text: str) -> None:
        super().__init__()
        self.page = page
        self.found: list[Form] = []
        self._form: Form | None = None
        self._input: Input | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._begin(said)
        elif self._form is None:
            return
        elif tag == "button" and said.get("name"):
            self._form.buttons.append((said["name"], said.get("value", "")))
        elif tag == "option" and self._input is not None:
            self._offer(said.get("value", ""), "selected" in said)
        elif tag in ("input", "select", "textarea") and said.get("name"):
            self._ask(said, said.get("type", "text") if tag == "input" else tag)

    def handle_data(self, data: str) -> None:
        if self._input is not None and self._input.kind == "textarea":
            self._input.values.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("select", "textarea"):
            self._input = None
        elif tag == "form":
            self._form = None

    def _begin(self, said: dict[str, str]) -> None:
        posted = said.get("method", "").lower() == "post" and "data-record" not in said
        self._form = Form((said.get("action") or self.page).partition("#")[0]) if posted else None
        self.found += [self._form] if self._form else []

    def _ask(self, said: dict[str, str], kind: str) -> None:
        assert self._form is not None
        self._input = Input(said["name"], kind)
        self._form.inputs.append(self._input)
        if kind in MARKS:
            self._offer(said.get("value", "on"), "checked" in said)
        elif kind not in ("select", "textarea"):
            self._input.values += [said["value"]] if said.get("value") else []

    def _offer(self, value: str, is_given: bool) -> None:
        assert self._input is not None
        self._input.offered.append(value)
        self._input.values += [value] if is_given else []
