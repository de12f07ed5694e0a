"""A whole visit in a loft without signal, and what the office has of it afterwards."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone
from playwright.sync_api import expect

from jobs.models import Arrival, DepthReading, Handover, Leave, Photo, PreStartCheck, WorkStep
from tests.browser.line import Line
from tests.browser.phones import OnSite, Phone, scene_today
from tests.jobs.on_site_scene import scene_on_site
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.browser
Pocket = Callable[[str], Phone]
LAYING = ("eaves", "first_layer", "cross_layers", "hatch_and_tank")


def photograph(lead: OnSite, moment: str, folder: Path) -> int:
    """One photo at every point, each shown at once; returns how many."""
    lead.opens(f"photos/{moment}/")
    labels = lead.page.locator(".point-label").all_inner_texts()
    for number, label in enumerate(labels):
        file = folder / f"{moment}-{label}.jpg"
        shows = {"moment": moment, "point_label": label}
        file.write_bytes(loft_jpeg(100 * len(moment) + number, **shows))
        point = lead.takes(label, file)
        expect(point.locator("img.phone-thumb")).to_be_visible()
        lead.reads("On this phone only", within=point)
    lead.reads("Go on", within=lead.page.locator("#action-bar"))
    return len(labels)


def test_a_whole_visit_without_signal(pocket: Pocket, line: Line, tmp_path: Path) -> None:
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()

    line.down()
    lead.page.goto("/on-site/")
    lead.page.locator(".visit-link").first.click()
    lead.is_ready()
    lead.reads("No signal", within=lead.bar)
    lead.goes_on("We are here")
    lead.arrives()
    lead.reads("On this phone only: Arrival", within=lead.row("loft"))
    lead.goes_on("Start the pre-start check")
    lead.answers_safely()
    lead.goes_on("Save the check")
    lead.reads("On this phone only: Pre-start check", within=lead.row("check"))
    before = photograph(lead, "before", tmp_path)
    for step in LAYING:
        lead.opens(f"work/{step}/")
        lead.answers_safely()
        lead.goes_on("Save this step")
        lead.reads("On this phone only", within=lead.row(step))
    after = photograph(lead, "after", tmp_path)
    lead.opens("readings/")
    depths = lead.measures(280)
    lead.reads("Meets", "Reckoned on this phone", within=lead.page.locator("[data-live-verdict]"))
    lead.goes_on("Go on")
    lead.reads("Done on this phone", within=lead.row("after"))
    lead.goes_on("Hand over")
    expect(lead.page.get_by_text("Not all there yet")).to_be_hidden()
    lead.hands_over("A. Householder")
    lead.reads("The office does not have it yet")
    lead.opens("leave/")
    lead.answers_safely()
    lead.goes_on("Leave")
    lead.page.wait_for_url("**/on-site/")  # by itself, once the record is on the phone
    lead.page.goto("/on-site/kept/")
    waiting = 3 + len(LAYING) + before + after + depths + 1
    lead.has_on_phone(waiting)
    assert not Arrival.objects.exists()
    assert not Photo.objects.exists()

    line.up()
    lead.sends()
    lead.all_is_safe()

    scene.visit.refresh_from_db()
    assert scene.visit.status == "done"
    assert Arrival.objects.get().loft_ready
    assert PreStartCheck.objects.get().safe_to_start
    assert WorkStep.objects.count() == len(LAYING)
    assert Photo.objects.filter(moment="before").count() == before
    assert Photo.objects.filter(moment="after").count() == after
    assert DepthReading.objects.count() == depths
    assert Handover.objects.get().signed_name == "A. Householder"
    assert Leave.objects.get().site_clear
    assert {item["state"] for item in lead.queue()} == {"safe"}
    for photo in Photo.objects.all():
        assert photo.received_at <= timezone.now()


def test_nobody_is_handed_over_to_without_a_signature(pocket: Pocket, line: Line) -> None:
    """Said at once and on the phone: a refusal later would find the householder gone."""
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()

    line.down()
    lead.opens("handover/")
    lead.page.get_by_label("Name of who signs").fill("A. Householder")
    lead.page.get_by_role("button", name="Sign and hand over").tap()
    alert = lead.page.get_by_role("alert")
    lead.reads("Not saved yet", "The signature is missing", within=alert)
    assert lead.queue() == []

    lead.hands_over("A. Householder")
    lead.has_on_phone(1)


def test_what_the_office_would_refuse_is_said_without_signal(pocket: Pocket, line: Line) -> None:
    """Open questions, a no without a word, unmarked cautions: nothing of them is stored."""
    scene = scene_today(scene_on_site)
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()
    refusal = lead.page.get_by_role("alert")

    line.down()
    lead.opens("work/first_layer/")
    heights = {lead.height_of_top()}
    lead.answers_safely()
    lead.page.locator("fieldset.question input:checked").last.evaluate("box => box.checked = false")
    lead.page.get_by_role("button", name="Save this step").tap()
    lead.reads("Not saved yet", "is not answered", within=refusal)
    lead.answers_safely()
    lead.page.locator("fieldset.question label", has_text="No").first.tap()
    lead.page.get_by_role("button", name="Save this step").tap()
    lead.reads("Put it right, or say here why it stays so", within=refusal)

    lead.opens("leave/")
    lead.answers_safely()
    lead.page.locator("fieldset.question label", has_text="No").last.tap()
    lead.page.get_by_label("What is left open or left behind?").fill("   ")
    lead.page.get_by_role("button", name="Leave").tap()
    lead.reads("Say what is left open or left behind", within=refusal)

    lead.opens("handover/")
    lead.page.get_by_label("Name of who signs").fill("A. Householder")
    lead.page.get_by_label("Confirmed with the typed name").check()
    lead.page.get_by_label("Something is left undone").check()
    lead.page.get_by_role("button", name="Sign and hand over").tap()
    lead.reads("Not marked yet", "Say what was not done and why", within=refusal)
    assert lead.queue() == []

    lead.page.get_by_label("What is left undone, and why?").fill("The bay behind the chimney")
    for caution in lead.page.locator("input[name=cautions_given]").all():
        caution.check()
    lead.goes_on("Sign and hand over")
    lead.has_on_phone(1)
    assert heights == {lead.height_of_top()}  # nothing moved under a finger when it was stored


@pytest.mark.parametrize(
    ("danger", "words", "call"),
    [
        (
            "wiring damaged",
            "stops the work. The office does not know yet: ring them",
            "Leave the home",
        ),
        ("wearing overalls", "On this phone only: Pre-start check", "Start the pre-start check"),
    ],
)
def test_an_unsafe_answer_holds_the_visit_up(
    pocket: Pocket, line: Line, danger: str, words: str, call: str
) -> None:
    """Danger stops work on the phone at once; what can be put right leads back to the check."""
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()

    line.down()
    lead.opens("arrival/")
    lead.arrives()
    lead.goes_on("Start the pre-start check")
    lead.answers_safely()
    found = lead.page.locator("fieldset.question", has_text=danger)
    found.locator("label", has=lead.page.locator("[data-unsafe]")).tap()
    lead.goes_on("Save the check")
    lead.reads(words)
    lead.reads(call, within=lead.page.locator("#action-bar"))
    frozen = lead.row("eaves").locator("a[href]")
    expect(frozen).to_have_count(0 if "stops" in words else 1)


def test_what_is_stopped_without_signal_is_shut_and_more_is_said(
    pocket: Pocket, line: Line
) -> None:
    """Every way on is shut with the reason; cautions, more words and leaving are not."""
    scene = scene_today(scene_on_site)
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()

    line.down()
    lead.opens("stop/")
    lead.page.get_by_label("Wet timber or a leak").check()
    lead.page.get_by_label("Why does the work stop?").fill("Rafters wet through")
    lead.goes_on("Stop work now")
    lead.reads("The office does not know yet: ring them")
    ways = lead.page.locator("#main a[href*='/on-site/visits/']").evaluate_all(
        "links => links.map((link) => new URL(link.href).pathname)"
    )
    stays = ("leave/", "photos/other/", "stop/")
    assert sorted(set(ways)) == [lead.address(step) for step in stays]
    for step in ("check/", "work/eaves/", "layers/", "readings/", "variations/", "handover/"):
        lead.opens(step)
        lead.reads("Work on this visit is stopped")
        expect(lead.page.locator("#main form:visible")).to_have_count(0)
    lead.page.get_by_role("link", name="Cautions, and more about the stop").tap()
    lead.is_ready()
    lead.reads("rotten timber may not carry you")
    lead.page.get_by_label("Why does the work stop?").fill("Fungus on the purlin as well")
    lead.goes_on("Tell the office more")

    line.up()
    lead.all_is_safe()
    scene.visit.refresh_from_db()
    assert scene.visit.stop_reason == "Rafters wet through"
    assert "Fungus on the purlin as well" in scene.visit.note
    for step in ("", "readings/"):  # the office's page, or the kept one where that is quicker
        lead.opens(step)
        lead.reads("is stopped", "Photo of what you found")
    office = Client()
    office.force_login(scene.installer)
    page = office.get(lead.address("readings/")).content.decode()
    assert "Nothing is recorded on it any more" in page
    assert "Rafters wet through" in page
