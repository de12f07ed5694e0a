"""What audits add to shared pages: the auditor's home, navigation, and what waits."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from compliance.audits.answers import SOON_DAYS, waiting_for_auditor, waiting_for_company
from compliance.audits.reading import drafts_of, unread_jobs_of
from compliance.models import AuditRound, Finding
from jobs.models import Role, User
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_home,
    register_navigation,
)

State = AuditRound.State
AUDITOR = frozenset({Role.AUDITOR})
COMPANY = frozenset({Role.COMPLIANCE_OFFICER, Role.PLANNER})


def jobs_to_read(user: User) -> int:
    return unread_jobs_of(user.scheme_id)


def findings_waiting(user: User) -> int:
    """Findings whose next word is this person's."""
    rows = Finding.objects.visible_to(user)
    waiting = waiting_for_auditor if user.role == Role.AUDITOR else waiting_for_company
    return waiting(rows).count()


def auditor_attention(user: User) -> list[Attention]:
    rounds = AuditRound.objects.visible_to(user)
    home, found = reverse("audit_home"), reverse("findings")
    unread, answers = jobs_to_read(user), findings_waiting(user)
    late = _late(user)
    drafts = drafts_of(user.scheme_id)
    states = Counter(
        rounds.filter(state__in=(State.SEALED, State.COMMITTED)).values_list("state", flat=True)
    )
    sealed, begun = states[State.SEALED], states[State.COMMITTED]
    return [
        Attention(
            unread, f"drawn {_many(unread, 'job')} {_is(unread)} still to be read", home, "now"
        ),
        Attention(
            answers,
            f"{_many(answers, 'answer')} of companies {_waits(answers)} for your word",
            f"{found}?show=answered",
        ),
        Attention(
            late, f"{_many(late, 'answer')} of companies {_is(late)} overdue", f"{found}?show=late"
        ),
        Attention(
            drafts,
            f"{_many(drafts, 'finding')} {_is(drafts)} a draft, not released yet"
            if drafts == 1
            else "findings are drafts, not released yet",
            home,
        ),
        Attention(
            sealed,
            f"sealed {_many(sealed, 'round')} {_waits(sealed)} for your secret to be drawn",
            home,
        ),
        Attention(
            begun,
            f"{_many(begun, 'round')} {'has' if begun == 1 else 'have'} no sealed population yet",
            home,
        ),
    ]


def _late(user: User) -> int:
    rows = waiting_for_company(Finding.objects.visible_to(user))
    return rows.filter(due_on__lt=timezone.localdate()).count()


def _many(count: int, word: str) -> str:
    return word if count == 1 else f"{word}s"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _waits(count: int) -> str:
    return "waits" if count == 1 else "wait"


def company_attention(user: User) -> list[Attention]:
    waiting = waiting_for_company(Finding.objects.visible_to(user))
    today = timezone.localdate()
    late = waiting.filter(due_on__lt=today).count()
    soon = waiting.filter(due_on__range=(today, today + timedelta(days=SOON_DAYS))).count()
    rest = waiting.count() - late - soon
    address = reverse("findings")
    return [
        Attention(
            late,
            f"{_many(late, 'answer')} to auditors {_is(late)} late",
            f"{address}?show=late",
            "now",
        ),
        Attention(
            soon,
            f"{_many(soon, 'answer')} to auditors {_is(soon)} due within {SOON_DAYS} days",
            f"{address}?show=soon",
            "now",
        ),
        Attention(
            rest,
            f"{_many(rest, 'finding')} of auditors {_waits(rest)} for an answer",
            f"{address}?show=open",
            "soon",
        ),
    ]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_home(Role.AUDITOR, "audit_home")
    register_navigation(NavigationItem("Audit", "audit_home", AUDITOR, 10, jobs_to_read))
    both = COMPANY | AUDITOR
    register_navigation(NavigationItem("Findings", "findings", both, 70, findings_waiting))
    register_attention(AUDITOR, auditor_attention)
    register_attention(COMPANY, company_attention)
