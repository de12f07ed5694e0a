"""The morning's mail about shortfalls: late, soon due, and waivers that wait for an answer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.conf import settings
from django.core.cache import cache
from django.core.mail import send_mail
from django.urls import reverse

from compliance.models import Shortfall, Waiver
from compliance.second_people import second_people
from jobs.call_backs import CallBackNeeds, call_back_needs
from jobs.models import Role, User
from jobs.planning.spelling import spell_minutes

SOON = timedelta(days=7)
CHASED_FOR_S = 36 * 3600
MOST_LINES = 40
"""Of each part of a message; the page has them all."""


@dataclass
class Digest:
    """What one person is told. late, soon: open shortfalls; waivers: waiting for this person."""

    late: list[Shortfall] = field(default_factory=list)
    soon: list[Shortfall] = field(default_factory=list)
    waivers: list[Waiver] = field(default_factory=list)

    @property
    def subject(self) -> str:
        counts = (
            (len(self.late), "late shortfall", "late shortfalls"),
            (len(self.soon), "shortfall due within a week", "shortfalls due within a week"),
            (len(self.waivers), "waiver that waits for you", "waivers that wait for you"),
        )
        said = [f"{n} {one if n == 1 else many}" for n, one, many in counts if n]
        return ", ".join(said)


def chase_late(today: date) -> int:
    """Mail everybody concerned, once a day. Returns the number of messages.

    Owners are told of their own, compliance officers of all of their company; waivers go to those
    who may answer them. Nothing is sent to whom nothing is late or waits.
    """
    messages = 0
    for person, digest in _digests(today).items():
        key = f"chased:{person.pk}:{today.isoformat()}"
        if not (digest.late or digest.waivers) or not cache.add(key, True, CHASED_FOR_S):
            continue
        try:
            send_mail(
                digest.subject,
                digest_text(digest, today),
                settings.DEFAULT_FROM_EMAIL,
                [person.email],
            )
        except OSError:
            cache.delete(key)  # the next run of the day tries again
            raise
        messages += 1
    return messages


def digest_text(digest: Digest, today: date) -> str:
    """The text of the message: one line a shortfall, the longest overdue first."""
    late, soon = (sorted(some, key=lambda s: s.due_on) for some in (digest.late, digest.soon))
    shown = [*late[:MOST_LINES], *soon[:MOST_LINES]]
    needs = call_back_needs(s.job_id for s in shown)
    waivers = [
        f"- {w.job.reference}, {w.job.property}: {w.reason} (recorded by {w.recorded_by}, "
        f"{w.recorded_at:%-d %b %Y}); answer it on {_address('verdict', w.job_id)}\n"
        for w in digest.waivers
    ]
    parts = [
        _part(
            "These lofts were found short and are not put right yet:",
            [_line(s, today, needs) for s in late[:MOST_LINES]],
            len(late),
            "shortfall_list",
        ),
        _part(
            "Due within a week:",
            [_line(s, today, needs) for s in soon[:MOST_LINES]],
            len(soon),
            "shortfall_list",
        ),
        _part(
            "Waivers that wait for a second person's answer:",
            waivers,
            len(waivers),
        ),
    ]
    return "\n".join(part for part in parts if part)


def _part(heading: str, lines: list[str], count: int, page: str = "") -> str:
    """Some lines under their heading, how many more there are, and the page with all of them."""
    if not count:
        return ""
    more = f"- and {count - len(lines)} more\n" if count > len(lines) else ""
    where = f"\nAll of them: {_address(page)}\n" if page else ""
    return f"{heading}\n\n{''.join(lines)}{more}{where}"


def _address(page: str, *arguments: int) -> str:
    return str(settings.PUBLIC_ADDRESS.rstrip("/") + reverse(page, args=arguments))


def takes_in_words(needs: CallBackNeeds | None) -> str:
    """Such as "3 × Invented roll 100 mm, about 90 min for two people"."""
    if needs is None:
        return ""
    names = {roll.code: roll.name for roll in needs.roll_types}
    rolls = [f"{count} × {names.get(code, code)}" for code, count in needs.rolls.items()]
    return ", ".join([*rolls, f"about {spell_minutes(needs.crew_hours * 60)} for two people"])


def _line(shortfall: Shortfall, today: date, needs: Mapping[int, CallBackNeeds]) -> str:
    days = (today - shortfall.due_on).days
    when = f"{days} day{'' if days == 1 else 's'} late" if days > 0 else f"in {-days} days"
    visit = shortfall.call_back
    under_way = visit is not None and visit.status in ("booked", "on_site")
    takes = takes_in_words(needs.get(shortfall.job_id))
    return (
        f"- {shortfall.job.reference}, {shortfall.job.property}: {shortfall.deficit_mm:.0f} mm "
        f"short over {shortfall.deficit_area_m2:.1f} m2; due {shortfall.due_on:%-d %b %Y}, {when}; "
        f"owner {shortfall.owner or 'nobody yet'}; "
        f"{shortfall.get_likely_cause_display().lower()}; "
        f"{'a' if under_way else 'no'} call-back booked{f'; takes {takes}' if takes else ''}\n"
    )


def _digests(today: date) -> dict[User, Digest]:
    officers: dict[int | None, list[User]] = defaultdict(list)
    for person in User.objects.filter(is_active=True, role=Role.COMPLIANCE_OFFICER):
        officers[person.company_id].append(person)
    found: dict[User, Digest] = defaultdict(Digest)
    open_ones = Shortfall.objects.open().filter(due_on__lte=today + SOON)
    for shortfall in open_ones.select_related("job__property", "owner", "call_back"):
        owner = shortfall.owner
        people = {*officers[shortfall.job.company_id]}
        if owner is not None and owner.is_active:
            people.add(owner)
        for person in people:
            late = shortfall.due_on < today
            (found[person].late if late else found[person].soon).append(shortfall)
    waiting = Waiver.objects.waiting().select_related("job__property", "recorded_by")
    for waiver in waiting:
        for person in second_people(waiver.job_id, waiver.recorded_by_id):
            found[person].waivers.append(waiver)
    return found
