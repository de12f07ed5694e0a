"""What the planning page is asked: which days, which of what waits, where something would go."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import Count, QuerySet
from django.http import QueryDict
from django.utils import timezone

from jobs.models import Crew, Skill, User, VisitKind, VisitNeed
from jobs.pages.day_inputs import day_field
from jobs.planning.board_parts import DAY_CHOICES, first_working_day

DUE = (
    ("", "Any due date"),
    ("late", "Past its due date"),
    ("week", "Within a week"),
    ("month", "Within four weeks"),
    ("none", "No due date"),
)
PRIORITIES = (
    ("", "Any priority"),
    ("5", "5, comes first"),
    ("4", "4 and over"),
    ("3", "3 and over"),
    ("2", "2 and over"),
)
USUAL_DAYS = 5


class SpanForm(forms.Form):
    """Which days the board shows. Whatever is missing or cannot be becomes the usual."""

    first = day_field(required=False)
    count = forms.TypedChoiceField(
        required=False, coerce=int, choices=[(n, n) for n in DAY_CHOICES], empty_value=USUAL_DAYS
    )

    run = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1)

    def __init__(self, asked: QueryDict) -> None:
        super().__init__(
            {"first": asked.get("from"), "count": asked.get("days"), "run": asked.get("run")}
        )
        self.is_valid()

    @property
    def first_day(self) -> date:
        return first_working_day(self.cleaned_data.get("first") or timezone.localdate())

    @property
    def days(self) -> int:
        return self.cleaned_data.get("count") or USUAL_DAYS

    @property
    def query(self) -> str:
        """The same days for another address."""
        return urlencode({"from": self.first_day.isoformat(), "days": self.days})

    @property
    def run_id(self) -> int | None:
        """The run whose proposals are to be laid over the board."""
        return self.cleaned_data.get("run")


class NeedFilter(forms.Form):
    """Narrows what is still to be planned."""

    kind = forms.ChoiceField(required=False, choices=[("", "Any kind"), *VisitKind.choices])
    due = forms.ChoiceField(required=False, choices=DUE)
    priority = forms.ChoiceField(required=False, choices=PRIORITIES)
    skill = forms.ChoiceField(required=False, choices=[("", "Any skill"), *Skill.choices])

    prefix = "need"

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        self.user = user

    @property
    def chosen(self) -> dict[str, str]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        return len(self.chosen)

    def needs(self) -> QuerySet[VisitNeed]:
        chosen, today = self.chosen, timezone.localdate()
        needs = VisitNeed.objects.visible_to(self.user).open().with_job()
        if "kind" in chosen:
            needs = needs.filter(kind=chosen["kind"])
        if "priority" in chosen:
            needs = needs.filter(priority__gte=int(chosen["priority"]))
        if "skill" in chosen:
            needs = needs.filter(skills__contains=[chosen["skill"]])
        return _due(needs, chosen.get("due", ""), today)

    def counts(self) -> dict[str, int]:
        """How many wait, by kind, whatever the filter says."""
        rows = VisitNeed.objects.visible_to(self.user).open().order_by().values_list("kind")
        return dict(rows.annotate(Count("pk")))


def _due(needs: QuerySet[VisitNeed], due: str, today: date) -> QuerySet[VisitNeed]:
    if due == "late":
        return needs.filter(due_on__lt=today)
    if due == "none":
        return needs.filter(due_on__isnull=True)
    if due in ("week", "month"):
        return needs.filter(due_on__lte=today + timedelta(days=7 if due == "week" else 28))
    return needs


class WhereForm(forms.Form):
    """Where something would go: a crew of one's own company and a moment of the local clock."""

    crew = forms.ModelChoiceField(Crew.objects.none())
    starts_at = forms.DateTimeField(input_formats=["%Y-%m-%dT%H:%M"])

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        crew: Any = self.fields["crew"]
        crew.queryset = Crew.objects.visible_to(user).select_related("van")


OPERATIVES = r"^\d{1,15}(,\d{1,15})*$"  # ids


class MoveForm(WhereForm):
    """A move of a visit, with the version its mover saw."""

    version = forms.IntegerField()
    leaves = forms.RegexField(OPERATIVES, required=False)
    back = forms.RegexField(OPERATIVES, required=False)

    @property
    def may_leave_behind(self) -> list[int]:
        """Who goes along so far and, as the mover was told, could not come (ids of operatives)."""
        return self._ids("leaves")

    @property
    def bring_back(self) -> list[int]:
        """Whom the move that is taken back left behind (ids of operatives)."""
        return self._ids("back")

    def _ids(self, name: str) -> list[int]:
        return [int(pk) for pk in self.cleaned_data[name].split(",") if pk]
