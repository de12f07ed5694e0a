"""Before and after in a real browser: keys, zoom of both at once, slider, swipe, no script, axe."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.evidence.inspection import inspect
from jobs.models import User
from tests.browser.axe import violations
from tests.browser.conftest import DESK, PHONE, Screens
from tests.factories import UserFactory
from tests.jobs.on_site_scene import scene_on_site, stored
from tests.pictures import loft_jpeg

TARGETS = ".compare-tools button, .compare-point, .compare-steps a, .compare .tall-link"

Screen = Callable[[str, User], Page]
pytestmark = pytest.mark.browser


@pytest.fixture
def address(transactional_db: None) -> tuple[str, User]:
    """The comparison of a job with three points, and the planner."""
    scene = scene_on_site()
    for seed, label in enumerate(("P1", "P2", "P3")):
        for moment in ("before", "after"):
            picture = loft_jpeg(10 * seed + (moment == "after"), moment=moment)
            inspect(stored(scene, picture, moment=moment, point_label=label))
    planner = UserFactory(email="compare@example.test", company=scene.job.company)
    return reverse("job_compare", args=[scene.job.pk]), planner


def opened(screen: Screen, address: tuple[str, User]) -> Page:
    page = screen("planner", address[1])
    page.goto(address[0])
    expect(page.locator("[data-compare][data-ready]")).to_be_visible()
    return page


def shift(page: Page, shot: str) -> str:
    return page.locator(f'[data-shot="{shot}"] img').evaluate("image => image.style.transform")


def shown(page: Page) -> str:
    return page.locator(".compare-point[aria-current]").inner_text()


def test_keys_lead_from_point_to_point_zoom_and_flip(
    address: tuple[str, User], desk: Screen, screens: Screens
) -> None:
    page = opened(desk, address)
    page.keyboard.press("ArrowRight")  # nothing has focus yet
    expect(page.locator("#compare-heading")).to_contain_text("P2")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#compare-heading")).to_contain_text("P1")
    page.locator("[data-compare-stage]").focus()

    page.keyboard.press("ArrowRight")
    expect(page.locator("#compare-heading")).to_contain_text("P2")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#compare-heading")).to_contain_text("P3")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#compare-heading")).to_contain_text("P2")
    assert "point=P2" in page.url

    page.keyboard.press("+")
    expect(page.locator("[data-zoom-state]")).to_have_text("150%")
    assert "scale(1.5)" in shift(page, "before") == shift(page, "after")
    page.keyboard.press("-")
    expect(page.locator("[data-zoom-state]")).to_have_text("100%")

    page.keyboard.press("b")
    expect(page.locator('[data-shot="after"]')).to_be_hidden()
    page.keyboard.press("a")
    expect(page.locator('[data-shot="before"]')).to_be_hidden()
    assert screens.troubles == []


def test_keys_do_nothing_outside_the_comparison(address: tuple[str, User], desk: Screen) -> None:
    page = opened(desk, address)
    page.get_by_role("link", name="The job", exact=True).focus()

    page.keyboard.press("b")

    expect(page.locator("[data-compare-stage]")).to_have_attribute("data-mode", "side")


def test_drag_moves_both_and_the_slider_uncovers_the_after_photo(
    address: tuple[str, User], desk: Screen
) -> None:
    page = opened(desk, address)
    page.get_by_role("button", name="Zoom in").click()
    page.get_by_role("button", name="Zoom in").click()
    before = shift(page, "before")

    box = page.locator('[data-shot="before"] .compare-frame').bounding_box()
    assert box
    page.mouse.move(box["x"] + 200, box["y"] + 150)
    page.mouse.down()
    page.mouse.move(box["x"] + 120, box["y"] + 110, steps=4)
    page.mouse.up()

    assert shift(page, "before") != before
    assert shift(page, "before") == shift(page, "after")

    page.get_by_role("button", name="Slide").click()
    slider = page.get_by_role("slider")
    slider.focus()
    page.keyboard.press("Home")
    hidden = page.locator('[data-shot="after"]').evaluate("shot => shot.style.clipPath")
    assert "100%" in hidden
    expect(page.locator("#compare-heading")).to_contain_text("P1")


def test_a_swipe_leads_to_the_next_point(address: tuple[str, User], phone: Screen) -> None:
    page = opened(phone, address)
    box = page.locator("[data-compare-stage]").bounding_box()
    assert box

    swipe(page, box["x"] + 300, box["x"] + 60, box["y"] + 120)
    expect(page.locator("#compare-heading")).to_contain_text("P2")
    swipe(page, box["x"] + 60, box["x"] + 300, box["y"] + 120)
    expect(page.locator("#compare-heading")).to_contain_text("P1")


def swipe(page: Page, start_x: float, end_x: float, y: float) -> None:
    """One finger across the screen, as the browser's own touch input."""
    touch = page.context.new_cdp_session(page)

    def send(kind: str, points: list[dict[str, float]]) -> None:
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", [{"x": start_x, "y": y}])
    for step in range(1, 6):
        send("touchMove", [{"x": start_x + (end_x - start_x) * step / 5, "y": y}])
    send("touchEnd", [])


def test_without_a_script_points_are_links(address: tuple[str, User], screens: Screens) -> None:
    shape: dict[str, Any] = {**DESK, "java_script_enabled": False}
    page = screens.open("no script", shape, address[1])
    page.goto(address[0])

    page.get_by_role("link", name="P2").first.click()

    expect(page.locator("#compare-heading")).to_contain_text("P2")
    expect(page.get_by_role("img", name="Before photo at P2")).to_be_visible()
    expect(page.get_by_role("img", name="After photo at P2")).to_be_visible()
    expect(page.locator("[data-compare-tools]")).to_be_hidden()


@pytest.mark.parametrize("shape", [DESK, PHONE], ids=["desk", "phone"])
def test_the_comparison_is_accessible(
    address: tuple[str, User], screens: Screens, shape: dict[str, Any]
) -> None:
    page = opened(lambda name, person: screens.open(name, shape, person), address)

    assert violations(page) == []
    for button in page.locator(TARGETS).all():
        box = button.bounding_box()
        assert box and box["height"] >= 48 and box["width"] >= 48, button.inner_text()
