"""Who is on the way to another page gets there, whatever the page they leave is told meanwhile."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from jobs.models import User
from tests.browser.board import Held
from tests.factories import UserFactory

pytestmark = pytest.mark.browser

ASKS_WHILE_LEAVING = """
() => {
  const tell = () => setTimeout(() => console.log("it was told"), 0);
  document.addEventListener("htmx:beforeOnLoad", tell);
  const ask = () => window.htmx.ajax("GET", "/how-far/", { swap: "none" });
  addEventListener("beforeunload", () => setTimeout(ask, 0), { once: true });
}
"""


@pytest.fixture
def planner(transactional_db: None) -> User:
    return UserFactory()


def test_a_page_whose_session_has_ended_says_so_and_stays(
    planner: User, desk: Callable[[str, User], Page]
) -> None:
    page = desk("planner", planner)
    page.goto("/desk/")
    heading = page.get_by_role("heading", level=1).inner_text()
    ask = "() => { window.htmx.ajax('GET', '/desk/', { target: 'main', swap: 'innerHTML' }); }"

    page.context.clear_cookies(name="sessionid")
    page.evaluate(ask)

    expect(page.get_by_role("status")).to_contain_text("You are signed out")
    expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    expect(page.get_by_label("Password")).to_have_count(0)


def test_what_was_typed_before_the_session_ended_is_sent_once_it_is_there_again(
    planner: User, desk: Callable[[str, User], Page]
) -> None:
    page = desk("planner", planner)
    page.goto("/vans/new/")
    page.get_by_label("Name").fill("The long van")
    page.get_by_label("Load volume").fill("9")
    mine = page.context.cookies()

    page.context.clear_cookies(name="sessionid")
    page.locator("main form [type=submit], main form button").last.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("You are signed out")
    fresh = {**next(one for one in mine if one["name"] == "csrftoken"), "value": "a" * 32}
    page.context.add_cookies([fresh, *(one for one in mine if one["name"] != "csrftoken")])
    page.get_by_role("button", name="Send it again").click()

    expect(page.get_by_role("status")).to_contain_text("The long van is saved")


def test_a_page_told_to_load_again_brings_nobody_back(
    planner: User, desk: Callable[[str, User], Page]
) -> None:
    """The office is slow with the next page when the old one hears that something is done."""
    page, on_their_way = desk("planner", planner), Held()
    page.route("**/how-far/", lambda asked: asked.fulfill(headers={"HX-Refresh": "true"}))
    page.goto("/desk/")
    page.route("**/jobs/", on_their_way.takes)

    page.evaluate(ASKS_WHILE_LEAVING)
    with page.expect_console_message(lambda said: said.text == "it was told"):
        page.get_by_role("navigation").get_by_role("link", name="Jobs").click(no_wait_after=True)
    on_their_way.let_through()

    page.wait_for_url("**/jobs/")
