"""An auditor with a phone: measuring again where there is no signal, and a finding by keys."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from compliance.audits.remeasuring import readings_to_measure
from compliance.models import FindingDraft, JobRead, Remeasurement
from tests.browser.keys import elsewhere
from tests.browser.line import Line
from tests.browser.phones import WORKER_IN_CHARGE, Phone
from tests.browser.shapes import PATIENCE_MS
from tests.compliance.reading_scene import audit_scene

pytestmark = pytest.mark.browser


def test_depths_measured_without_signal_arrive_once_and_letters_typed_are_no_keys(
    pocket: Callable[[str], Phone], line: Line
) -> None:
    scene = elsewhere(audit_scene)  # signing needs a loop of its own, and the browser's runs here
    reading = readings_to_measure(scene.drawn)[0]
    address = reverse("remeasure", args=[scene.drawn.pk])
    phone = pocket("auditor")
    phone.sign_in(scene.auditor)
    page = phone.page()
    for _ in range(2):  # the second time the worker is in charge, and keeps the page
        page.goto(address)
        page.wait_for_selector("html[data-ready]")
        page.evaluate(WORKER_IN_CHARGE)
    place = page.locator("#place-1")

    line.down()
    place.get_by_label("Depth at place 1").fill("251")
    place.get_by_role("button", name="Record place 1").click()
    expect(place).to_contain_text("251 mm. On this phone only", timeout=PATIENCE_MS)
    measured_by = timezone.now()
    page.goto(address)
    expect(place).to_contain_text("251 mm. On this phone only", timeout=PATIENCE_MS)
    assert not Remeasurement.objects.exists()

    line.up()
    expect(place).to_contain_text(f"Installer: {reading.depth_mm:.0f}", timeout=PATIENCE_MS)
    made = Remeasurement.objects.get()
    assert (made.reading_id, made.depth_mm, made.measured_by) == (reading.pk, 251, scene.auditor)
    assert made.measured_at <= measured_by + timedelta(seconds=1)

    page.goto(reverse("drawn_job", args=[scene.drawn.pk]))
    page.keyboard.press("2")
    page.keyboard.press("f")
    page.keyboard.press("0")  # no ready words
    page.keyboard.press("4")
    page.keyboard.type("mend now")  # m would mark the job as read, n open the next
    expect(page.get_by_label("What was found")).to_have_value("mend now")
    page.keyboard.press("Control+Enter")
    expect(page.locator(".finding-draft")).to_contain_text("Critical, draft: Verdict 1")
    page.keyboard.press("f")
    page.keyboard.type("half typed")
    page.keyboard.press("Escape")
    page.keyboard.press("m")  # does not leave it behind
    expect(page.locator("#messages")).to_contain_text("A finding is half typed")
    assert FindingDraft.objects.count() == 1 and not JobRead.objects.exists()
    assert phone.troubles == []
