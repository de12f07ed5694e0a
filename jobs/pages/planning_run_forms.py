"""What is asked before a plan is looked for: days, what may move, what matters, what happened."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from jobs.models import Crew, User, Visit
from jobs.pages.day_inputs import clock_field, day_field
from jobs.planning.board_parts import first_working_day, working_days_from
from jobs.planning.disturbance import Disturbance
from jobs.planning.prices import Prices, spell_price
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import MayMove, Wishes

HOW_LONG = ((10, "10 seconds"), (30, "half a minute"), (60, "a minute"), (300, "five minutes"))
HOW_MUCH = (
    ("hardly", "hardly counts"),
    ("less", "counts less"),
    ("usual", "as usual"),
    ("more", "counts more"),
    ("most", "above all"),
)
# What “as usual” means of a wish: in words, and the office's price that says it.
USUALLY = {
    "late": ("a day late", "late_day_min"),
    "overtime": ("an hour of overtime", "overtime_hour_min"),
    "left_out": ("a usual visit left out", "left_out_3_min"),
    "promises": ("a promise moved to another day", "other_day_min"),
}
FACTORS = {"hardly": 0.1, "less": 0.5, "usual": 1.0, "more": 2.0, "most": 5.0}
MAY_MOVE = (
    (MayMove.ALL.value, "Booked visits, promised ones rarely"),
    (MayMove.UNPROMISED.value, "Booked visits, but no promised ones"),
    (MayMove.CLASHES.value, "Only booked visits that clash"),
    (MayMove.NOTHING.value, "Nothing: booked visits stay"),
)
WAITING = (
    (Waiting.FREED.value, "May take the time that is freed"),
    (Waiting.LEAVE.value, "Waits on; only what is booked is looked at"),
    (Waiting.PLAN.value, "Is planned as well, for all crews (takes longer)"),
)
CALENDAR_DAYS = ((1, "1 day"), (5, "5 days"), (7, "a week"), (14, "two weeks"), (28, "four weeks"))


# From this hour on a day counts as over: what is planned or recorded begins with the next one.
EVENING_H = 17


def next_day() -> date:
    """Today, or in the evening tomorrow."""
    now = timezone.localtime()
    return now.date() + timedelta(days=int(now.hour >= EVENING_H))


class RunForm(forms.Form):
    """A plan to be looked for. What matters is said in words and becomes factors of the prices."""

    first_day = day_field(label="From")
    days = forms.TypedChoiceField(label="How far", coerce=int, choices=CALENDAR_DAYS, initial=14)
    seconds = forms.TypedChoiceField(label="Look for", coerce=int, choices=HOW_LONG, initial=30)
    may_move = forms.ChoiceField(label="What may move", choices=MAY_MOVE, initial="all")
    travel = forms.ChoiceField(label="Driving little", choices=HOW_MUCH, initial="usual")
    late = forms.ChoiceField(label="Keeping due dates", choices=HOW_MUCH, initial="usual")
    overtime = forms.ChoiceField(label="Going home on time", choices=HOW_MUCH, initial="usual")
    left_out = forms.ChoiceField(label="Leaving nothing out", choices=HOW_MUCH, initial="usual")
    promises = forms.ChoiceField(label="Keeping promises", choices=HOW_MUCH, initial="usual")
    seed = forms.IntegerField(
        min_value=1,
        max_value=999_999,
        initial=1,
        required=False,
        help_text="The same number finds the same plan again; another one tries another way.",
    )

    WISHES = ("travel", "late", "overtime", "left_out", "promises")

    def __init__(
        self,
        data: Any = None,
        *,
        first: date | None = None,
        last: Wishes | None = None,
        prices: Prices | None = None,
    ) -> None:
        """`last`: what was wished last beside the office's `prices`, chosen again."""
        first = max(first or next_day(), timezone.localdate())
        chosen = {} if last is None else self._chosen(last)
        super().__init__(data, initial={"first_day": first_working_day(first)} | chosen)
        for name, (words, price) in USUALLY.items():
            costs = spell_price(price, getattr(prices or Prices(), price))
            self.fields[name].help_text = f"As usual: {words} costs {costs} of driving."

    @classmethod
    def _chosen(cls, last: Wishes) -> dict[str, str]:
        """Its choices in the form's words; a factor that is none of them is left as usual."""
        words = {factor: word for word, factor in FACTORS.items()}
        factors = {name: words.get(getattr(last, name), "usual") for name in cls.WISHES}
        return factors | {"may_move": last.may_move.value}

    @property
    def wishes(self) -> list[Any]:
        """The fields that say what matters."""
        return [self[name] for name in self.WISHES]

    @property
    def planner_wishes(self) -> Wishes:
        """How much more or less than usual each wish counts, and what may move."""
        factors = {name: FACTORS[self.cleaned_data[name]] for name in self.WISHES}
        return Wishes(**factors, may_move=MayMove(self.cleaned_data["may_move"]))


def waiting_field(*choices: Waiting) -> forms.TypedChoiceField:
    """What becomes of visits that are not booked yet; the first choice is the usual one."""
    words = dict(WAITING)
    return forms.TypedChoiceField(
        label="What waits to be planned",
        choices=[(one.value, words[one.value]) for one in choices],
        coerce=Waiting,
        initial=choices[0].value,
    )


class CrewAwayForm(forms.Form):
    """A crew that cannot come, from now or a day on."""

    crew = forms.ModelChoiceField(Crew.objects.none(), empty_label="Choose")
    first_day = day_field(label="From")
    last_day = day_field(label="Last day away")
    note = forms.CharField(required=False, max_length=200)
    waiting = waiting_field(Waiting.LEAVE, Waiting.PLAN)

    def __init__(self, data: Any = None, *, user: User, initial: dict[str, Any]) -> None:
        first = next_day()
        super().__init__(data, initial={"first_day": first, "last_day": first} | initial)
        crew: Any = self.fields["crew"]
        crew.queryset = Crew.objects.visible_to(user).filter(is_active=True)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        first, last = given.get("first_day"), given.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "It ends before it begins. Give a later day.")
        if first and first < timezone.localdate():
            self.add_error("first_day", "That day has passed. Begin today or later.")
        return given

    @property
    def disturbed(self) -> Disturbance:
        given = self.cleaned_data
        return Disturbance(given["crew"].pk, given["first_day"], given["last_day"])

    @property
    def starts_at(self) -> datetime:
        return _midnight(self.cleaned_data["first_day"])

    @property
    def ends_at(self) -> datetime:
        return _midnight(self.cleaned_data["last_day"] + timedelta(days=1))


class VisitForm(forms.Form):
    """One of the booked visits of the next days."""

    visit = forms.ModelChoiceField(Visit.objects.none(), empty_label="Choose")

    DAYS = 10
    NONE_WORDS = "No visit is booked on the next ten working days."
    STATUSES: tuple[str, ...] = (Visit.Status.BOOKED,)

    def __init__(self, data: Any = None, *, user: User, initial: dict[str, Any]) -> None:
        super().__init__(data, initial=initial)
        today = timezone.localdate()
        visits = Visit.objects.visible_to(user).filter(status__in=self.STATUSES).with_job()
        soon = visits.between(today, working_days_from(today, self.DAYS)).order_by("during")
        field: Any = self.fields["visit"]
        field.queryset = soon
        field.label_from_instance = _visit_label
        self.is_empty = not soon.exists()


class CancelledForm(VisitForm):
    """The householder does not want the visit at its time."""

    reason = forms.CharField(
        max_length=300,
        label="What the householder said",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    waiting = waiting_field(Waiting.FREED, Waiting.LEAVE, Waiting.PLAN)


class OverrunForm(VisitForm):
    """A visit that lasts longer than it was booked for, or will."""

    WORDS = (
        "Nothing is changed yet. A plan is looked for round the longer visit; what it would "
        "change, its new end included, is shown first and booked once you accept it."
    )

    ends_at = clock_field(label="Ends at")
    waiting = waiting_field(Waiting.LEAVE, Waiting.PLAN)

    DAYS = 3
    NONE_WORDS = "No visit of today or the next two working days is left."
    STATUSES = (Visit.Status.BOOKED, Visit.Status.ON_SITE)

    @property
    def until(self) -> datetime:
        """The end, on the visit's own day."""
        visit = self.cleaned_data["visit"]
        day = timezone.localtime(visit.during.lower).date()
        return timezone.make_aware(datetime.combine(day, self.cleaned_data["ends_at"]))


def _visit_label(visit: Visit) -> str:
    start, end = (timezone.localtime(at) for at in (visit.during.lower, visit.during.upper))
    home = visit.job.property
    return (
        f"{start:%a %-d %b %H:%M}–{end:%H:%M} {visit.crew}: {home.address_line_1}, {home.postcode}"
    )


def _midnight(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))
