"""Findings whose answer is late: told by mail to those who have to answer, once a day."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.mail import send_mail

from compliance.audits.answers import waiting_for_company
from compliance.models import Finding
from jobs.models import Role, User

KEPT_SECONDS = 36 * 3600
LONGEST_QUOTE = 80


def chase_late_findings(today: date) -> int:
    """Mail every compliance officer the late findings of its company, once a day.

    Returns the number of messages.
    """
    messages = 0
    for company_id, late in _late_by_company(today).items():
        officers = User.objects.filter(
            role=Role.COMPLIANCE_OFFICER, is_active=True, company_id=company_id
        )
        for person in officers:
            if not cache.add(
                f"chased-findings:{person.pk}:{today.isoformat()}", True, KEPT_SECONDS
            ):
                continue
            send_mail(
                f"{len(late)} late answer{'s' if len(late) > 1 else ''} to auditors",
                late_findings_digest(late, today),
                settings.DEFAULT_FROM_EMAIL,
                [person.email],
            )
            messages += 1
    return messages


def late_findings_digest(late: Sequence[Any], today: date) -> str:
    """The text of the message: one line a finding, the longest overdue first."""
    lines = [
        f"- {row.drawn_job.job.reference}, {row.drawn_job.job.property}: "
        f"{row.get_severity_display().lower()}, “{row.text[:LONGEST_QUOTE]}”, due "
        f"{row.due_on:%-d %b %Y}, {(today - row.due_on).days} days late"
        for row in late
    ]
    return "These findings of auditors wait for an answer:\n\n" + "\n".join(lines) + "\n"


def _late_by_company(today: date) -> dict[int, list[Any]]:
    rows = waiting_for_company(Finding.objects.all()).filter(due_on__lt=today)
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows.select_related("drawn_job__job__property").order_by("due_on", "pk"):
        found[row.drawn_job.job.company_id].append(row)
    return found
