"""What audits add to shared pages: the auditor's home, navigation, and what waits."""

from __future__ import annotations

from django.urls import reverse
from django.utils import timezone

from compliance.audits.answers import waiting_for_auditor, waiting_for_company
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
    home = reverse("audit_home")
    return [
        Attention(jobs_to_read(user), "drawn jobs are still to be read", home, "now"),
        Attention(
            findings_waiting(user),
            "answers of companies wait for your word",
            f"{reverse('findings')}?show=answered",
        ),
        Attention(drafts_of(user.scheme_id), "findings are drafts, not released yet", home),
        Attention(
            rounds.filter(state=AuditRound.State.SEALED).count(),
            "sealed rounds wait for your secret to be drawn",
            home,
        ),
        Attention(
            rounds.filter(state=AuditRound.State.COMMITTED).count(),
            "rounds have no sealed population yet",
            home,
        ),
    ]


def company_attention(user: User) -> list[Attention]:
    waiting = waiting_for_company(Finding.objects.visible_to(user))
    late = waiting.filter(due_on__lt=timezone.localdate()).count()
    address = reverse("findings")
    return [
        Attention(late, "answers to auditors are late", f"{address}?show=late", "now"),
        Attention(
            waiting.count() - late,
            "findings of auditors wait for an answer",
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
