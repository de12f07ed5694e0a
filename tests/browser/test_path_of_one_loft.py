"""One loft from the first phone call to the auditor's question, walked in real browsers.

Real parts throughout: the web server, PostgreSQL, the broker and a worker process. The people
only click, tap, type and look; the database is touched once, to have them hired.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from itertools import cycle
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.conftest import Screens
from tests.browser.people import (
    Auditor,
    ComplianceOfficer,
    Home,
    Householder,
    Installer,
    Loft,
    Planner,
    Surveyor,
)
from tests.factories import (
    CompanyFactory,
    CrewFactory,
    OperativeFactory,
    SchemeFactory,
    UserFactory,
    VanFactory,
)

CREW = "Crew Wren"
FIRST = Home("H-001", "1 Larkspur Row")
SECOND = Home("H-002", "2 Larkspur Row")
ROLES = ("planner", "surveyor", "installer", "compliance_officer", "auditor")

Screen = Callable[[str], Page]
pytestmark = pytest.mark.browser


@pytest.fixture
def hired(transactional_db: None) -> dict[str, str]:
    """An invented company with one crew, and the auditor of its scheme; e-mail by role."""
    company = CompanyFactory(name="Invented Lofts")
    scheme = SchemeFactory(name="Warm Homes Trial", companies=[company])
    people = {
        role: UserFactory(
            role=role,
            email=f"{role}@example.test",
            **({"scheme": scheme} if role == "auditor" else {"company": company}),
        )
        for role in ROLES
    }
    crew = CrewFactory(company=company, name=CREW, van=VanFactory(company=company))
    OperativeFactory(
        company=company,
        crew=crew,
        user=people["installer"],
        leads_crew=True,
        skills=["insulation", "surveying"],
    )
    return {role: person.email for role, person in people.items()}


@pytest.fixture
def people(
    hired: dict[str, str],
    running_worker: subprocess.Popen[bytes],
    desk: Screen,
    phone: Screen,
) -> dict[str, object]:
    """Each at a screen of their own, signed in."""
    present = {
        "planner": Planner(desk("planner"), hired["planner"]),
        "surveyor": Surveyor(phone("surveyor"), hired["surveyor"]),
        "installer": Installer(phone("installer"), hired["installer"]),
        "officer": ComplianceOfficer(desk("officer"), hired["compliance_officer"]),
        "auditor": Auditor(desk("auditor"), hired["auditor"]),
    }
    for person in present.values():
        person.signs_in()
    return present


def test_a_loft_travels_the_whole_way(
    people: dict[str, object], phone: Screen, screens: Screens, tmp_path: Path
) -> None:
    planner, surveyor = people["planner"], people["surveyor"]
    installer, officer, auditor = people["installer"], people["officer"], people["auditor"]

    # A home is taken in, surveyed on a phone, reckoned, and its fitting booked.
    bring_to_fitting(planner, surveyor, FIRST, survey_at="08:00", fitting_at="10:00")

    # The crew fits it, and it meets its rule.
    fit(installer, FIRST, tmp_path, seed=1, depths_mm=(285, 290, 280))
    officer.opens_verdict(FIRST)
    officer.sees("Meets")
    officer.reads("England 270 mm", "is met")

    # The certificate is made in the background; anybody can check it.
    paper = officer.downloads_certificate()
    words = " ".join(page.extract_text() for page in paper.pages)
    code = re.search(r"\b[0-9A-Z]{4}[- ]?[0-9A-Z]{4}[- ]?[0-9A-Z]{4}\b", words)
    assert code, words
    assert FIRST.address in words
    householder = Householder(phone("householder"))
    householder.checks(code.group())
    householder.reads("Valid", "270")

    # A second loft falls short, with the arithmetic; it is put right and closes.
    bring_to_fitting(planner, surveyor, SECOND, survey_at="09:00", fitting_at="14:00")
    fit(installer, SECOND, tmp_path, seed=40, depths_mm=(200, 190, 210))
    officer.opens_verdict(SECOND)
    officer.sees("Short")
    officer.reads("80 mm short of England 270 mm", "Reckoned from", "Shortfall", "none booked")
    officer.sends_call_back(CREW, arrives="19:00")
    put_right(installer, SECOND, tmp_path, seed=80, depths_mm=(280, 285, 290))
    officer.opens_verdict(SECOND)
    officer.sees("Meets")
    officer.downloads_certificate()
    expect(officer.page.get_by_role("heading", name="Shortfall")).to_have_count(0)
    officer.page.goto("/")
    officer.reads("No shortfall is open.")

    # The auditor draws what nobody could steer, reads a job, and asks; the company answers.
    auditor.begins_round("Autumn round", timezone.localdate().isoformat())
    auditor.seals_and_draws()
    assert "Larkspur Row" in auditor.reads_first_drawn_job()
    auditor.records_finding("Minor", "The eaves photo at the back is blurred.")
    officer.answers_finding("The eaves photo at the back", "Taken again on Monday.")
    auditor.page.reload()
    auditor.reads("Taken again on Monday.")

    assert screens.troubles == []


def bring_to_fitting(
    planner: Planner, surveyor: Surveyor, home: Home, *, survey_at: str, fitting_at: str
) -> None:
    planner.takes_in(home)
    planner.books("Survey visit", CREW, survey_at)
    surveyor.surveys(home, Loft())
    planner.opens(home)
    planner.sees_quantities()
    planner.books("Fitting visit", CREW, fitting_at)


def fit(
    installer: Installer, home: Home, folder: Path, *, seed: int, depths_mm: tuple[int, ...]
) -> None:
    """A crew's first visit, from the check at the door to the signature."""
    installer.opens_visit(home, "Fitting visit")
    installer.arrives()
    installer.checks_before_starting()
    installer.takes_the_step("Take the before photos")
    installer.photographs("before", folder, seed, depth_mm=80)
    finish(installer, folder, seed + 20, depths_mm)


def put_right(
    installer: Installer, home: Home, folder: Path, *, seed: int, depths_mm: tuple[int, ...]
) -> None:
    """A call-back: how it was before is known from the first visit."""
    installer.opens_visit(home, "Call-back")
    installer.arrives()
    installer.checks_before_starting()
    installer.sees_it_done("Before photos", "all")
    finish(installer, folder, seed, depths_mm)


def finish(installer: Installer, folder: Path, seed: int, depths_mm: tuple[int, ...]) -> None:
    installer.lays_by_the_drawing()
    installer.photographs("after", folder, seed, depth_mm=max(depths_mm))
    installer.measures(cycle(depths_mm))
    installer.hands_over("A. Householder")
    installer.leaves()
