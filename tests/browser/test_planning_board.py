"""Moving visits on the planning board: by mouse, by finger, by keyboard, and by two at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, expect

from jobs.models import Crew, User
from jobs.planning.lending import lend
from tests.browser.board import BoardPlanner
from tests.browser.conftest import Screens
from tests.factories import UserFactory
from tests.jobs.board_scene import a_board, a_crew, a_need, a_visit, next_week

pytestmark = pytest.mark.browser

Screen = Callable[[str, User], Page]


@dataclass
class Scene:
    """Wren is at 1 Loft Lane from 8 to 12, Swift at 5 Busy Street; Heron is free.

    A fitting of three hours at 7 Waiting Way waits.
    """

    planner: User
    other: User
    wren: Crew
    heron: Crew
    swift: Crew


@pytest.fixture
def scene(transactional_db: None) -> Scene:
    """All of it is made before a browser is there, which forbids to ask the database."""
    office = a_board()
    wren, heron, swift = (a_crew(office, name) for name in ("Wren", "Heron", "Swift"))
    other = UserFactory(company=office.company, first_name="Sam", last_name="Second")
    a_visit(office, wren, "1 Loft Lane")
    a_visit(office, swift, "5 Busy Street")
    a_need(office, "7 Waiting Way")
    return Scene(office.planner, other, wren, heron, swift)


def opened(screen: Screen, user: User) -> BoardPlanner:
    planner = BoardPlanner(screen(user.email, user), user.email)
    planner.opens_board(next_week())
    return planner


def finds_again(planner: BoardPlanner, address: str, crew: Crew, clock: str) -> None:
    """Loads the page anew: what is shown then is what was stored."""
    planner.page.reload()
    planner.sees_at(address, crew, clock)


def test_a_visit_is_moved_by_mouse_and_taken_back(scene: Scene, desk: Screen, screens: Screens):
    planner = opened(desk, scene.planner)

    planner.drags(planner.block("1 Loft Lane"), scene.heron, 9.5, drop=False)
    planner.reads("fits", "Heron", "09:30–13:30", within=planner.page.locator("#moving-bar"))
    planner.page.mouse.up()

    planner.is_told("1 Loft Lane is moved to Heron")
    planner.sees_at("1 Loft Lane", scene.heron, "09:30")

    planner.presses("Undo")
    planner.sees_at("1 Loft Lane", scene.wren, "08:00")
    finds_again(planner, "1 Loft Lane", scene.wren, "08:00")
    assert screens.troubles == []


@dataclass
class Along:
    """Ana of Swift goes along to Heron's 2 Tall Close from 14; Swift is at 5 Busy Street from 8.

    Nobody in Robin can lay insulation.
    """

    planner: User
    heron: Crew
    robin: Crew


@pytest.fixture
def along(transactional_db: None) -> Along:
    office = a_board()
    heron, swift, robin = (a_crew(office, name) for name in ("Heron", "Swift", "Robin"))
    robin.operatives.update(skills=["surveying"])
    ana = swift.operatives.first()
    ana.name = "Ana Reed"
    ana.save()
    a_visit(office, swift, "5 Busy Street", hours=4)
    visit = a_visit(office, heron, "2 Tall Close", hour=14, hours=2)
    lend(visit, ana, by=office.planner, version=visit.version)
    return Along(office.planner, heron, robin)


def test_who_goes_along_makes_a_place_possible_and_comes_back_with_undo(
    along: Along, desk: Screen, screens: Screens
):
    planner = opened(desk, along.planner)
    block = planner.block("2 Tall Close")

    planner.drags(block, along.robin, 14.5)
    planner.is_told("2 Tall Close is moved to Robin", "Ana Reed (Swift) still goes along.")
    planner.presses("Undo")
    planner.is_told("2 Tall Close is moved to Heron")  # once its rows are drawn again

    planner.drags(block, along.heron, 9, drop=False)
    planner.reads("Ana Reed (Swift) is at", within=planner.page.locator("#moving-bar"))
    planner.page.mouse.up()
    planner.is_told("2 Tall Close is moved to Heron", "Ana Reed (Swift) does not go along.")
    planner.presses("Undo")
    planner.is_told("Ana Reed (Swift) goes along again.")
    planner.sees_at("2 Tall Close", along.heron, "14:00")
    assert screens.troubles == []


def test_a_visit_is_moved_by_finger(scene: Scene, phone: Screen, screens: Screens):
    planner = opened(phone, scene.planner)

    planner.drags_by_finger(planner.block("1 Loft Lane"), scene.heron, 8.5)

    planner.is_told("1 Loft Lane is moved to Heron")
    finds_again(planner, "1 Loft Lane", scene.heron, "08:30")
    assert screens.troubles == []


def test_a_visit_is_moved_by_keyboard_and_what_happens_is_said(scene: Scene, desk: Screen):
    planner = opened(desk, scene.planner)
    keys = planner.page.keyboard

    planner.block("1 Loft Lane").focus()
    keys.press("Space")
    planner.hears("1 Loft Lane picked up")
    keys.press("ArrowUp")
    planner.hears("Swift is at 5 Busy Street then.")
    keys.press("ArrowUp")
    keys.press("ArrowRight")
    planner.hears("Heron")
    planner.hears("08:15–12:15")
    keys.press("Enter")

    planner.is_told("1 Loft Lane is moved to Heron")
    expect(planner.block("1 Loft Lane")).to_be_focused()
    finds_again(planner, "1 Loft Lane", scene.heron, "08:15")


def test_escape_leaves_a_visit_where_it_was(scene: Scene, desk: Screen):
    planner = opened(desk, scene.planner)

    planner.block("1 Loft Lane").focus()
    planner.page.keyboard.press("Space")
    planner.page.keyboard.press("ArrowRight")
    planner.page.keyboard.press("Escape")

    planner.hears("left where it was")
    expect(planner.page.locator(".ghost")).to_have_count(0)
    finds_again(planner, "1 Loft Lane", scene.wren, "08:00")


def test_a_place_that_is_taken_is_refused_with_the_reason(scene: Scene, desk: Screen):
    planner = opened(desk, scene.planner)

    bar = planner.page.locator("#moving-bar")
    planner.drags(planner.block("1 Loft Lane"), scene.swift, 10, drop=False)
    planner.reads("does not fit", "Swift is at 5 Busy Street then.", within=bar)
    planner.page.mouse.up()

    planner.is_told("Not done", "Swift is at 5 Busy Street then.")
    finds_again(planner, "1 Loft Lane", scene.wren, "08:00")


def test_what_waits_is_placed_on_a_crews_day(scene: Scene, desk: Screen, screens: Screens):
    planner = opened(desk, scene.planner)

    planner.drags(planner.card("7 Waiting Way").locator(".need-asks"), scene.heron, 13)

    planner.is_told("7 Waiting Way is booked for Heron")
    expect(planner.card("7 Waiting Way")).to_have_count(0)
    finds_again(planner, "7 Waiting Way", scene.heron, "13:00")
    assert screens.troubles == []


def test_what_waits_is_placed_with_buttons_alone(scene: Scene, phone: Screen):
    planner = opened(phone, scene.planner)

    planner.presses("Place it", within=planner.card("7 Waiting Way"))
    planner.presses("15 min ▸")
    planner.presses("Put it here")

    # It began at the cheapest place: with a crew that is out already, after its visit.
    planner.is_told("7 Waiting Way is booked for Swift")
    finds_again(planner, "7 Waiting Way", scene.swift, "12:15")


def test_what_is_pressed_before_the_cheapest_place_is_known_waits_for_it(
    scene: Scene, desk: Screen, screens: Screens
):
    planner = opened(desk, scene.planner)
    bar, keys = planner.page.locator("#moving-bar"), planner.page.keyboard
    asked = planner.holds_back("**/planning/places/**")

    planner.presses("Place it", within=planner.card("7 Waiting Way"))
    planner.reads("7 Waiting Way", "Looking for the cheapest place", within=bar)
    keys.press("ArrowRight")
    keys.press("Escape")
    planner.hears("left where it was")
    planner.presses("Place it", within=planner.card("7 Waiting Way"))
    planner.presses("15 min ▸")
    keys.press("ArrowRight")
    planner.page.locator('[data-moves="drop"]').focus()
    keys.press("Enter")  # nothing is put down where nobody has seen it
    expect(planner.page.get_by_role("button", name="Put it here")).to_be_disabled()
    expect(planner.page.locator(".ghost")).to_have_count(0)
    planner.hears("Looking for the cheapest place")
    asked.let_through()

    # Two steps from the cheapest place: what was pressed for the first time round is forgotten.
    planner.reads("Swift", "12:30–15:30", within=bar)
    planner.presses("Put it here")
    planner.is_told("7 Waiting Way is booked for Swift")
    finds_again(planner, "7 Waiting Way", scene.swift, "12:30")
    assert screens.troubles == []


def test_where_the_cheapest_place_cannot_be_had_the_first_free_one_does(scene: Scene, desk: Screen):
    planner = opened(desk, scene.planner)
    planner.page.route("**/planning/places/**", lambda route: route.abort())

    planner.presses("Place it", within=planner.card("7 Waiting Way"))
    planner.presses("15 min ▸")
    planner.presses("Put it here")

    planner.is_told("7 Waiting Way is booked for Heron")
    finds_again(planner, "7 Waiting Way", scene.heron, "08:15")


def test_two_planners_see_each_other_and_neither_overwrites(
    scene: Scene, desk: Screen, screens: Screens
):
    planner = opened(desk, scene.planner)
    other = opened(desk, scene.other)

    # In the hand of the first, it does not jump when the second moves it.
    planner.drags(planner.block("1 Loft Lane"), scene.heron, 9, drop=False)
    other.drags(other.block("1 Loft Lane"), scene.wren, 11)
    other.is_told("1 Loft Lane is moved to Wren")
    planner.has_news()
    planner.sees_at("1 Loft Lane", scene.wren, "08:00")
    planner.page.mouse.up()

    planner.is_told("Not done", "Sam Second moved 1 Loft Lane from Wren")
    planner.sees_at("1 Loft Lane", scene.wren, "11:00")

    # Now on purpose; and the second sees it without loading the page.
    planner.presses("Move it all the same")
    planner.is_told("1 Loft Lane is moved to Heron")
    other.sees_at("1 Loft Lane", scene.heron, "09:00")
    other.hears("moved 1 Loft Lane from Wren")
    expect(other.page.locator(".block-changed")).to_have_count(1)
    assert [trouble for trouble in screens.troubles if "412" not in trouble] == []


def test_a_visit_is_held_from_its_sheet(scene: Scene, desk: Screen, screens: Screens):
    planner = opened(desk, scene.planner)
    sheet = planner.page.locator("#planning-sheet")

    planner.block("1 Loft Lane").click()
    planner.reads("What moving it would cost", "Best elsewhere", within=sheet)
    planner.presses("Hold it here", within=sheet)
    planner.reads("It is held", within=sheet)

    expect(planner.block("1 Loft Lane")).to_contain_text("held")
    assert screens.troubles == []


def test_a_visit_can_be_moved_without_a_script(scene: Scene, screens: Screens):
    page = screens.open("plain", {"java_script_enabled": False}, scene.planner)
    planner = BoardPlanner(page, scene.planner.email)
    page.goto(f"/planning/?from={next_week().isoformat()}&days=1")

    planner.block("1 Loft Lane").click()
    planner.types("Arrives at", "10:00")
    page.get_by_role("button", name="Move it").click()

    planner.reads("The visit is moved.")
    page.goto(f"/planning/?from={next_week().isoformat()}&days=1")
    planner.sees_at("1 Loft Lane", scene.wren, "10:00")
