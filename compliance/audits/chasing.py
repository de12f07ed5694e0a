"""What a company owes its auditors: told by mail before it is due, and again while it is late.

Compliance officers are told once a day of answers and of call-backs and withdrawals asked for:
a week before, in each of the last days, and every day once it is late.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.mail import send_mail

from compliance.audits.answers import SOON_DAYS, days_in_words, waiting_for_company
from compliance.models import AuditFollowUp, Finding
from jobs.models import Role, User

WEEK_DAYS = 7
KEPT_SECONDS = 36 * 3600
LONGEST_QUOTE = 80


@dataclass(frozen=True, slots=True)
class Owed:
    """One thing that a company owes an auditor: in words, and by when."""

    words: str
    due_on: date

    def line(self, today: date) -> str:
        when = days_in_words((self.due_on - today).days)
        return f"- {self.words}, due {self.due_on:%-d %b %Y}, {when}\n"


@dataclass
class Reminder:
    """What the officers of one company are told, each list the earliest due first."""

    late: list[Owed] = field(default_factory=list)
    soon: list[Owed] = field(default_factory=list)

    def is_due(self, today: date) -> bool:
        left = {(owed.due_on - today).days for owed in self.soon}
        return bool(self.late) or WEEK_DAYS in left or any(days <= SOON_DAYS for days in left)

    @property
    def subject(self) -> str:
        counts = ((len(self.late), "late"), (len(self.soon), "due within a week"))
        said = ", ".join(f"{n} {when}" for n, when in counts if n)
        return f"Owed to auditors: {said}"

    def text(self, today: date) -> str:
        parts = []
        if self.late:
            parts += ["Auditors still wait for:\n\n", *(owed.line(today) for owed in self.late)]
        if self.soon:
            parts += ["\nDue within a week:\n\n", *(owed.line(today) for owed in self.soon)]
        return "".join(parts).lstrip("\n")


def remind_of_answers(today: date) -> int:
    """Mail every compliance officer what its company owes auditors, once a day where it is due.

    Returns the number of messages.
    """
    reminders = _reminders(today)
    officers = User.objects.filter(
        role=Role.COMPLIANCE_OFFICER, is_active=True, company_id__in=reminders
    )
    messages = 0
    for person in officers:
        reminder = reminders[person.company_id]  # type: ignore[index]
        key = f"reminded-of-answers:{person.pk}:{today.isoformat()}"
        if not reminder.is_due(today) or not cache.add(key, True, KEPT_SECONDS):
            continue
        try:
            send_mail(
                reminder.subject,
                reminder.text(today),
                settings.DEFAULT_FROM_EMAIL,
                [person.email],
            )
        except OSError:
            cache.delete(key)  # the next run of the day tries again
            raise
        messages += 1
    return messages


def _reminders(today: date) -> dict[int, Reminder]:
    found: dict[int, Reminder] = defaultdict(Reminder)
    owed = [*_answers(today), *_asked(today)]
    for company_id, one in sorted(owed, key=lambda pair: pair[1].due_on):
        (found[company_id].late if one.due_on < today else found[company_id].soon).append(one)
    return found


def _answers(today: date) -> Iterator[tuple[int, Owed]]:
    rows = waiting_for_company(Finding.objects.all()).filter(
        due_on__lte=today + timedelta(days=WEEK_DAYS)
    )
    for row in rows.select_related("drawn_job__job__property").order_by("due_on", "pk"):
        job, said = row.drawn_job.job, row.text[:LONGEST_QUOTE]
        words = f"the answer to a {row.get_severity_display().lower()} finding, “{said}”"
        yield job.company_id, Owed(f"{job.reference}, {job.property}: {words}", row.due_on)


def _asked(today: date) -> Iterator[tuple[int, Owed]]:
    rows: Any = AuditFollowUp.objects.waiting().filter(
        job__isnull=False, due_on__lte=today + timedelta(days=WEEK_DAYS)
    )
    for row in rows.with_place().order_by("due_on", "pk"):
        words = f"{row.get_kind_display().lower()}, “{row.reason[:LONGEST_QUOTE]}”"
        yield (
            row.job.company_id,
            Owed(f"{row.job.reference}, {row.job.property}: {words}", row.due_on),
        )
