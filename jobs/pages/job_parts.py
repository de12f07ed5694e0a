"""The sections of a job's story that tell of its home, its visits and what was changed."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from jobs.contact import may_see_contact
from jobs.history import history_of
from jobs.intake.nations import straddles_border
from jobs.models import Job, Role, User
from jobs.pages.registry import StorySection, register_story_section


def property_section(job: Job, user: User) -> dict[str, Any]:
    """The home. Who lives there, and how to get in, is for whoever has to reach them."""
    home = job.property
    nation = home.get_nation_display()
    if straddles_border(home.postcode):
        nation += " (confirmed)" if home.nation_confirmed else " (near a border, not confirmed)"
    facts = [
        {"label": "Address", "value": home.address},
        {"label": "Nation", "value": nation},
        {"label": "Reference", "value": home.reference},
        {"label": "Position", "value": _position(home)},
        {"label": "Scheme", "value": str(job.scheme)},
        {"label": "Due", "value": f"{job.due_on:%-d %b %Y}" if job.due_on else "no date set"},
    ]
    notes = ""
    if may_see_contact(user, home):
        notes, phone = home.access_notes, home.householder_phone
        facts += [
            {"label": "Householder", "value": home.householder_name},
            {
                "label": "Phone",
                "value": phone,
                "url": f"tel:{phone.replace(' ', '')}" if phone else "",
            },
            {"label": "E-mail", "value": home.householder_email},
        ]
    return {"facts": facts, "access_notes": notes}


def _position(home: Any) -> str:
    if home.latitude_deg is None:
        return "not given"
    return f"{home.latitude_deg:.5f}°, {home.longitude_deg:.5f}°"


def visits_section(job: Job, user: User) -> dict[str, Any]:
    visits = job.visits.visible_to(user).select_related("crew", "van").order_by("during")
    return {
        "visits": list(visits),
        "book_url": reverse("book_visit", args=[job.pk]) if user.role == Role.PLANNER else "",
        "may_open": user.role in (Role.PLANNER, Role.SURVEYOR),
    }


def history_section(job: Job, user: User) -> dict[str, Any]:
    told = user.role in (Role.PLANNER, Role.COMPLIANCE_OFFICER, Role.AUDITOR)
    url = reverse("job_edits", args=[job.pk]) if told else ""
    return {"events": history_of(job), "edits_url": url}


def register() -> None:
    """Join the job's page. Called once, when the app is ready."""
    for key, title, order, template, build in (
        ("property", "Home", 10, "jobs/job/property_section.html", property_section),
        ("visits", "Visits", 40, "jobs/job/visits_section.html", visits_section),
        ("history", "History", 90, "jobs/job/history_section.html", history_section),
    ):
        register_story_section(StorySection(key, title, order, template, build))
