"""A plan is looked for while the planner watches, stopped, and accepted; axe looks at its pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from jobs.models import User
from tests.browser.axe import violations
from tests.browser.board import BoardPlanner
from tests.browser.conftest import Screens
from tests.jobs.board_scene import a_board, a_crew, a_need, a_visit, next_week

pytestmark = pytest.mark.browser


@pytest.fixture
def planner(transactional_db: None) -> User:
    """Two crews, one booked visit, and three fittings that wait."""
    office = a_board()
    a_visit(office, a_crew(office, "Wren"), "1 Loft Lane")
    a_crew(office, "Heron")
    for number in (7, 8, 9):
        a_need(office, f"{number} Waiting Way", crew_size=2)
    return office.planner


def test_a_plan_is_watched_stopped_and_accepted(
    planner: User,
    running_worker: Any,
    desk: Callable[[str, User], Page],
    screens: Screens,
) -> None:
    office = BoardPlanner(desk("planner", planner), planner.email)
    office.opens_board(next_week())
    found = violations(office.page)

    office.page.get_by_role("link", name="Look for a plan").last.click()
    office.page.get_by_label("From").fill(next_week().isoformat())
    office.chooses("How far", "1 day")
    office.chooses("Look for", "five minutes")
    office.chooses("What may move", "Nothing: booked visits stay")
    office.chooses("Keeping due dates", "above all")
    office.presses("Look for a plan")

    office.reads("Looking for a better plan", "You may close this page", "4 visits placed")
    expect(office.page.get_by_role("img", name="The first plan")).to_be_visible()
    found += violations(office.page)
    office.presses("Stop, and keep the best plan so far")

    office.reads("To be booked", "7 Waiting Way", "8 Waiting Way", "9 Waiting Way")
    found += violations(office.page)
    office.presses("See it on the board")
    expect(office.page.locator(".proposed")).to_have_count(3)
    found += violations(office.page)
    office.page.go_back()
    office.presses("Accept all")

    office.reads("3 proposals are carried out.")
    office.page.goto(f"/planning/?from={next_week().isoformat()}&days=1")
    for number in (7, 8, 9):
        expect(office.block(f"{number} Waiting Way")).to_be_visible()
    office.reads("Nothing waits")
    assert found == []
    assert screens.troubles == []
