"""The planner's entries in the header, home and list of what needs a hand."""

from __future__ import annotations

from urllib.parse import urlencode

from django.urls import reverse
from django.utils import timezone

from jobs.models import Role, User
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_home,
    register_navigation,
)
from jobs.planning import attention

OFFICE = frozenset({Role.PLANNER, Role.SURVEYOR})
STORY_READERS = frozenset({Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER, Role.AUDITOR})


def job_list_url(**filters: object) -> str:
    return f"{reverse('job_list')}?{urlencode(filters)}"


def _sentence(count: int, one: str, many: str) -> str:
    return one if count == 1 else many


def planner_attention(user: User) -> list[Attention]:
    """Late, unbooked, not begun, unread: each with the page where it is put right."""
    today = timezone.localdate()
    late = attention.late_jobs(user, today).count()
    overdue = attention.overdue_visits(user, today).count()
    to_plan = attention.jobs_to_plan(user).count()
    to_quantify = attention.jobs_left_to_quantify(user, timezone.now()).count()
    to_survey = attention.jobs_to_survey_unbooked(user).count()
    unconfirmed = attention.unconfirmed_homes(user).count()
    waiting = attention.batches_to_mend(user).count()
    to_mend = attention.rows_to_mend(user)
    return [
        Attention(
            late,
            _sentence(late, "job is past its due date", "jobs are past their due date"),
            job_list_url(only="late"),
            "now",
        ),
        Attention(
            overdue,
            _sentence(overdue, "visit was never begun", "visits were never begun"),
            reverse("visit_list") + "?show=overdue",
            "now",
        ),
        Attention(
            to_plan,
            _sentence(to_plan, "job waits for a fitting visit", "jobs wait for a fitting visit"),
            job_list_url(stage="to_plan"),
        ),
        Attention(
            to_quantify,
            _sentence(
                to_quantify,
                "surveyed loft has no layers worked out yet",
                "surveyed lofts have no layers worked out yet",
            ),
            job_list_url(stage="to_quantify"),
            "now",
        ),
        Attention(
            to_survey,
            _sentence(to_survey, "home has no survey booked", "homes have no survey booked"),
            job_list_url(stage="to_survey", only="unbooked"),
        ),
        Attention(
            waiting,
            _sentence(
                waiting,
                "spreadsheet is looked through and waits to be taken in",
                "spreadsheets are looked through and wait to be taken in",
            ),
            reverse("intake"),
        ),
        Attention(
            to_mend,
            _sentence(
                to_mend,
                "row of the last spreadsheet has to be mended",
                "rows of the last spreadsheet have to be mended",
            ),
            reverse("intake"),
        ),
        Attention(
            unconfirmed,
            _sentence(
                unconfirmed,
                "home near a border has a nation nobody confirmed",
                "homes near a border have a nation nobody confirmed",
            ),
            job_list_url(only="unconfirmed"),
        ),
    ]


def late_count(user: User) -> int:
    return attention.late_jobs(user, timezone.localdate()).count()


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    planner = frozenset({Role.PLANNER})
    for label, url_name, roles, order in (
        ("Desk", "desk", planner, 10),
        ("Jobs", "job_list", STORY_READERS, 20),
        ("Planning", "planning", planner, 30),
        ("Visits", "visit_list", OFFICE, 40),
        ("Intake", "intake", planner, 50),
        ("Crews", "crew_list", OFFICE, 60),
    ):
        register_navigation(NavigationItem(label, url_name, roles, order))
    register_home(Role.PLANNER, "desk")
    register_attention(planner, planner_attention)
