"""What proof adds to the header, to the lists of what needs a hand, and to a job's story."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils import timezone

from compliance.assess import latest_assessment
from compliance.models import Certificate, Shortfall
from compliance.pages.roles import PROOF_READERS, RULE_READERS, VERDICT_READERS
from compliance.pages.verdict_parts import show_verdict
from compliance.standing import (
    held_back,
    rules_to_approve,
    shortfall_counts,
    unjudged,
    unproven_now,
)
from jobs.models import Job, Role, User
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    StorySection,
    register_attention,
    register_home,
    register_navigation,
    register_story_section,
)

OFFICER = frozenset({Role.COMPLIANCE_OFFICER})


def shortfall_attention(user: User) -> list[Attention]:
    """Late ones and those without a call-back: for the officer and the planner."""
    counts = shortfall_counts(user, timezone.localdate())
    url = reverse("shortfall_list")
    late, waiting = counts["late"], counts["waiting"]
    return [
        Attention(
            late,
            "shortfall is past its due date" if late == 1 else "shortfalls are past their due date",
            f"{url}?show=late",
            "now",
        ),
        Attention(
            waiting,
            "short loft has no call-back booked"
            if waiting == 1
            else "short lofts have no call-back booked",
            f"{url}?show=waiting",
            "now",
        ),
    ]


def proof_attention(user: User) -> list[Attention]:
    """What only the compliance officer decides or chases."""
    unproven = unproven_now(user).count()
    held, waiting = held_back(user).count(), unjudged(user).count()
    rules = len(rules_to_approve(user))
    verdicts = reverse("verdict_list")
    return [
        Attention(
            unproven,
            "loft lacks evidence" if unproven == 1 else "lofts lack evidence",
            f"{verdicts}?verdict=unproven",
        ),
        Attention(
            held,
            "loft meets its rule and waits for your decision"
            if held == 1
            else "lofts meet their rule and wait for your decision",
            f"{verdicts}?verdict=meets",
        ),
        Attention(
            rules,
            "depth rule waits for a second person"
            if rules == 1
            else "depth rules wait for a second person",
            reverse("rule_list"),
        ),
        Attention(
            waiting,
            "loft is being judged" if waiting == 1 else "lofts are being judged",
            reverse("job_list") + "?stage=to_assess",
            "calm",
        ),
    ]


def verdict_section(job: Job, user: User) -> dict[str, Any] | None:
    assessment = latest_assessment(job)
    if assessment is None:
        return None
    return {
        "verdict": show_verdict(assessment),
        "verdict_url": _verdict_url(job, user),
    }


def shortfall_section(job: Job, user: User) -> dict[str, Any] | None:
    shortfalls = list(Shortfall.objects.filter(job=job).with_place().order_by("-flagged_at"))
    if not shortfalls:
        return None
    return {
        "shortfalls": shortfalls,
        "today": timezone.localdate(),
        "verdict_url": _verdict_url(job, user),
    }


def certificate_section(job: Job, user: User) -> dict[str, Any] | None:
    certificates = list(Certificate.objects.filter(job=job).with_place())
    if not certificates:
        return None
    return {"certificates": certificates, "may_open": user.role in VERDICT_READERS}


def _verdict_url(job: Job, user: User) -> str:
    return reverse("verdict", args=[job.pk]) if user.role in VERDICT_READERS else ""


def shortfalls_open(user: User) -> int:
    return shortfall_counts(user, timezone.localdate())["open"]


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    readers, keepers = frozenset(PROOF_READERS), frozenset(RULE_READERS)
    for label, url_name, roles, order, count in (
        ("Proof", "proof", OFFICER, 10, None),
        ("Verdicts", "verdict_list", OFFICER, 30, None),
        ("Shortfalls", "shortfall_list", readers, 45, shortfalls_open),
        ("Certificates", "certificate_list", readers, 55, None),
        ("Rules", "rule_list", keepers - {Role.PLANNER}, 70, None),
        ("Ledger", "ledger", frozenset({*OFFICER, Role.PLATFORM_ADMIN}), 80, None),
    ):
        register_navigation(NavigationItem(label, url_name, roles, order, count))
    register_home(Role.COMPLIANCE_OFFICER, "proof")
    register_attention(frozenset(PROOF_READERS), shortfall_attention)
    register_attention(OFFICER, proof_attention)
    register_attention(frozenset({Role.PLATFORM_ADMIN}), admin_attention)
    for key, title, order, template, build in (
        ("verdict", "Verdict", 60, "verdict_section.html", verdict_section),
        ("shortfall", "Shortfall", 65, "shortfall_section.html", shortfall_section),
        ("certificate", "Certificate", 70, "certificate_section.html", certificate_section),
    ):
        where = f"compliance/story/{template}"
        register_story_section(StorySection(key, title, order, where, build))


def admin_attention(user: User) -> list[Attention]:
    rules = len(rules_to_approve(user))
    sentence = (
        "depth rule waits for a second person"
        if rules == 1
        else "depth rules wait for a second person"
    )
    return [Attention(rules, sentence, reverse("rule_list"))]
