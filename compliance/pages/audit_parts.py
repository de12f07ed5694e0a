"""What audits add to shared pages: the auditor's home, navigation, and what waits."""

from __future__ import annotations

from django.urls import reverse

from compliance.models import AuditRound, DrawnJob, Finding
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
    drawn = DrawnJob.objects.visible_to(user).filter(round__state=AuditRound.State.DRAWN)
    return drawn.filter(findings__isnull=True).count()


def findings_to_answer(user: User) -> int:
    return Finding.objects.visible_to(user).defects().unanswered().count()


def auditor_attention(user: User) -> list[Attention]:
    rounds = AuditRound.objects.visible_to(user)
    home = reverse("audit_home")
    return [
        Attention(jobs_to_read(user), "drawn jobs are still to be read", home, "now"),
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
    sentence = "findings of auditors wait for an answer"
    return [Attention(findings_to_answer(user), sentence, reverse("findings"), "now")]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_home(Role.AUDITOR, "audit_home")
    register_navigation(NavigationItem("Audit", "audit_home", AUDITOR, 10, jobs_to_read))
    register_navigation(NavigationItem("Findings", "findings", COMPANY, 70, findings_to_answer))
    register_attention(AUDITOR, auditor_attention)
    register_attention(COMPANY, company_attention)
