"""A drawn job read by keyboard: the zoom beside a finding, ready words, and what was seen."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from django.conf import settings
from django.urls import reverse
from playwright.sync_api import Page, expect

from compliance.models import JobRead, PointsSeen
from jobs.evidence.content_store import keep
from jobs.models import PhotoInspection
from tests.browser.conftest import Screens
from tests.browser.keys import elsewhere
from tests.compliance.reading_scene import AuditScene, audit_scene
from tests.compliance.scene import small_picture
from tests.factories import PhotoFactory

FINDING_BEFORE_THE_ZOOM_IS_TOLD_CLOSED = """
() => new Promise((done) => {
  const dialog = document.getElementById("zoom");
  dialog.addEventListener("close", () => requestAnimationFrame(() => done(
    Boolean(document.activeElement.closest("[data-finding-form]")))));
  dialog.close();
  document.body.dispatchEvent(new KeyboardEvent("keydown", { key: "f", bubbles: true }));
})
"""
"""Both in one turn of the browser, which tells of the closing only in the next."""

NEXT_IS_AT_HAND = (
    "() => performance.getEntriesByType('resource').some(r => r.name.endsWith('?ahead'))"
)

pytestmark = pytest.mark.browser


@pytest.fixture
def scene(transactional_db: None) -> AuditScene:
    """Two drawn jobs, the first with a pair whose pictures can be shown large."""
    made = audit_scene(jobs=2)
    kept = keep(io.BytesIO(small_picture(90)), "photo-copies", limit_bytes=100_000)
    for moment in ("before", "after"):
        photo = PhotoFactory(visit=made.scene.visit, moment=moment, point_label="X1")
        copies = {"thumb_name": kept.name, "display_name": kept.name}
        PhotoInspection.objects.create(photo=photo, inspector_version="2", readable=True, **copies)
    return made


def test_a_closing_zoom_takes_no_focus_and_a_job_is_read_by_keys(
    scene: AuditScene, desk: Callable[..., Page], screens: Screens
) -> None:
    page = desk("auditor", scene.auditor)
    page.goto(reverse("drawn_job", args=[elsewhere(lambda: scene.drawn.pk)]))
    expect(page.locator("[data-show-keys]")).to_be_visible()
    page.locator('[data-point="X1"]').focus()
    page.locator('[data-point="X1"] h3').click()

    page.keyboard.press("z")
    expect(page.locator("#zoom[open]")).to_be_visible()
    assert page.evaluate(FINDING_BEFORE_THE_ZOOM_IS_TOLD_CLOSED)

    page.keyboard.press("1")
    expect(page.get_by_label("What was found")).to_have_value(
        "X1: the gauge shows another depth than is recorded."
    )
    page.keyboard.press("2")  # another class than the words suggest
    page.keyboard.press("Enter")
    expect(page.locator(".finding-draft")).to_contain_text("Minor, draft")
    expect(page.locator("[data-finding-form].form-docked")).to_have_count(0)

    with page.expect_response(lambda answer: answer.request.method == "PUT") as kept:
        page.keyboard.press("v")
    assert kept.value.ok
    page.reload()
    expect(page.locator("[data-seen-told]")).to_contain_text("1 of 3 points seen")
    assert elsewhere(lambda: PointsSeen.objects.get().points) == ["X1"]

    while page.locator(".pair:not(.pair-is-seen)").count():
        page.keyboard.press("Space")
    expect(page.locator("#verdict :focus")).to_be_visible()
    expect(page.locator("[data-reading-drawing] .eb-reading").first).to_be_in_viewport()
    assert screens.troubles == []


def test_a_session_that_ends_under_the_reader_takes_neither_words_nor_a_mark_with_it(
    scene: AuditScene, desk: Callable[..., Page], screens: Screens
) -> None:
    page = desk("auditor", scene.auditor)
    first = elsewhere(lambda: scene.round.drawn_jobs.order_by("draw_order").first().pk)
    page.goto(reverse("drawn_job", args=[first]))
    page.wait_for_function(NEXT_IS_AT_HAND)
    page.locator(".pair h3").first.click()
    here = page.context.cookies()

    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.keyboard.press("f")
    page.keyboard.press("1")
    page.keyboard.press("Enter")
    expect(page.locator("#messages")).to_contain_text("You are signed out")
    expect(page.get_by_label("What was found")).not_to_have_value("")
    page.context.add_cookies(here)
    page.keyboard.press("Enter")
    expect(page.locator(".finding-draft")).to_be_visible()

    page.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.keyboard.press("m")
    expect(page).to_have_url(re.compile(r"/account/sign-in/\?next="))
    assert not elsewhere(JobRead.objects.exists)
    page.context.add_cookies(here)
    page.goto(reverse("drawn_job", args=[first]))
    expect(page.locator("#messages")).to_contain_text("is not marked as read")
    assert [trouble for trouble in screens.troubles if "401" not in trouble] == []
    screens.troubles.clear()
