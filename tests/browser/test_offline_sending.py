"""Nothing recorded is lost, wherever the line, the page, the phone or the office breaks."""

from __future__ import annotations

import hashlib
import json
import re
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Page, expect

from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.content_store import open_kept
from jobs.models import Arrival, Photo, User
from tests.browser.line import Line
from tests.browser.office import Server
from tests.browser.phones import OnSite, Phone, Scene, scene_today
from tests.browser.shapes import PATIENCE_MS
from tests.factories import PASSWORD, OperativeFactory, UserFactory
from tests.jobs.on_site_scene import ALL_SAFE

pytestmark = pytest.mark.browser
Pocket = Callable[[str], Phone]


def big_photo(folder: Path, seed: int = 1) -> Path:
    """A JPEG of noise, about 1.5 MB, so that there is time to break it off."""
    file = folder / f"noise-{seed}.jpg"
    if not file.exists():
        Image.effect_noise((1500 + seed, 1200), 90).convert("RGB").save(file, "JPEG", quality=88)
    return file


def begun(pocket: Pocket, step: str, *, kept: bool = False) -> tuple[Scene, Phone, OnSite]:
    """A phone at a step of today's visit, with the pages of the day kept or not yet."""
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day() if kept else lead.is_served()
    lead.opens(step)
    return scene, phone, lead


def signs_in(page: Page, person: User) -> None:
    page.goto("/account/sign-in/")
    page.get_by_label("E-mail").or_(page.get_by_label("Email")).first.fill(person.email)
    page.get_by_label("Password").first.fill(PASSWORD)
    page.get_by_role("button", name="Sign in").first.click()
    expect(page).not_to_have_url(re.compile("/account/"))


def is_stored_as(file: Path) -> bool:
    """Whether the one photo of the office is that file, byte for byte."""
    photo = Photo.objects.get()
    content = file.read_bytes()
    with open_kept(photo.original_name) as kept:
        return kept.read() == content and photo.sha256 == hashlib.sha256(content).hexdigest()


def test_a_photo_goes_on_where_the_line_broke(pocket: Pocket, line: Line, tmp_path: Path) -> None:
    """Cut in the creation and in the midst of several PATCHes; each goes on, none begins anew."""
    _, _, lead = begun(pocket, "photos/before/")
    file = big_photo(tmp_path)

    line.cut_after(600)
    point = lead.takes("P1", file)
    for more_bytes in (3_000, 200_000, 300_000, 700_000):
        line.wait_until_down()
        lead.reads("On this phone only", within=point)
        line.cut_after(more_bytes)
        line.up()
    line.wait_until_down()
    line.up()

    lead.all_is_safe()
    lead.reads("Stored at the office", within=point)
    assert is_stored_as(file)
    offsets = line.patches_from
    assert offsets == sorted(offsets), "it never goes back behind what the office has"
    assert len({offset for offset in offsets if offset > 0}) >= 2  # as chunks grow
    assert line.sent_up < 2 * file.stat().st_size


def test_two_photos_at_once_and_records_before_them(
    pocket: Pocket, line: Line, tmp_path: Path
) -> None:
    """On slow 3G (400 kbit/s, 400 ms): a record made while photos go up does not wait for them."""
    _, _, lead = begun(pocket, "photos/before/", kept=True)
    line.slow(0.4, 400)
    line.hold_back(b"PATCH ")  # however slow this machine is, no photo is through before the record
    for seed, label in enumerate(("P1", "P2"), start=1):
        lead.takes(label, big_photo(tmp_path, seed))
    for label in ("P1", "P2"):
        lead.reads("Sending", within=lead.page.locator(f'[data-point="{label}"]'))
    lead.opens("arrival/")
    lead.arrives()
    taken = re.compile("At the office since: Arrival|Done: . here")
    expect(lead.row("arrival")).to_contain_text(taken, timeout=PATIENCE_MS)
    assert not Photo.objects.exists()
    line.let_go()
    line.slow(0, 1_000_000)
    lead.all_is_safe()
    assert Photo.objects.count() == 2


def test_with_every_page_closed_the_browser_sends(
    pocket: Pocket, line: Line, tmp_path: Path
) -> None:
    """Background Sync, fired by the browser's own tools: its network never really goes away here.

    The tag is the one the page registered; a tag nobody registered would fire nothing.
    """
    _, phone, lead = begun(pocket, "photos/before/", kept=True)
    line.down()
    file = big_photo(tmp_path)
    lead.takes("P1", file)
    lead.has_on_phone(1)
    tags = "async () => (await navigator.serviceWorker.ready).sync.getTags()"
    lead.page.wait_for_function(f"async () => (await ({tags})()).includes('eavesbook-send')")
    assert phone.context is not None
    empty = phone.context.new_page()
    browser = phone.context.new_cdp_session(empty)
    registrations: list[str] = []
    browser.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda told: registrations.extend(each["registrationId"] for each in told["registrations"]),
    )
    browser.send("ServiceWorker.enable")
    lead.page.close()
    line.up()
    while not registrations:
        empty.wait_for_timeout(50)
    browser.send(
        "ServiceWorker.dispatchSyncEvent",
        {
            "origin": line.address,
            "registrationId": registrations[0],
            "tag": "eavesbook-send",
            "lastChance": False,
        },
    )
    deadline = time.monotonic() + 60
    while not Photo.objects.exists() and time.monotonic() < deadline:
        empty.wait_for_timeout(100)
    assert is_stored_as(file)


def test_the_page_is_closed_and_the_phone_restarted(
    pocket: Pocket, line: Line, tmp_path: Path
) -> None:
    scene, phone, lead = begun(pocket, "photos/before/", kept=True)
    file = big_photo(tmp_path)
    line.cut_after(500_000)
    lead.takes("P2", file)
    line.wait_until_down()
    lead.opens("arrival/")
    lead.arrives()
    lead.has_on_phone(2)
    lead.page.close()

    lead = OnSite(phone.restart(), scene.visit)
    lead.opens()
    lead.reads("On this phone only: Arrival", within=lead.row("arrival"))
    lead.reads("On this phone only: 1 photo", within=lead.row("before"))
    line.up()

    lead.all_is_safe()
    assert is_stored_as(file)
    assert Arrival.objects.get().visit == scene.visit


def test_the_office_is_killed_in_the_midst_of_a_photo(
    pocket: Pocket, line: Line, server: Server, tmp_path: Path
) -> None:
    _, _, lead = begun(pocket, "photos/before/")
    file = big_photo(tmp_path)
    line.cut_after(400_000)
    point = lead.takes("P1", file)
    line.wait_until_down()
    server.kill()
    line.up()
    lead.reads("No signal", within=lead.bar)
    lead.reads("On this phone only", within=point)
    server.start()

    lead.all_is_safe()
    assert is_stored_as(file)


def test_an_answer_that_is_lost_leaves_one_record(pocket: Pocket, line: Line) -> None:
    """The office stored it, the phone never heard so, and sends it again."""
    _, _, lead = begun(pocket, "arrival/", kept=True)
    line.lose_answer(b"POST /api/v1/arrivals/")
    lead.arrives()
    line.wait_until_down()
    lead.has_on_phone(1)
    line.up()

    lead.all_is_safe()
    assert Arrival.objects.count() == 1


def test_the_same_photo_is_kept_once(pocket: Pocket, line: Line, tmp_path: Path) -> None:
    """Chosen twice on one phone, and sent from a second phone by a colleague."""
    scene, _, lead = begun(pocket, "photos/before/")
    file = big_photo(tmp_path)
    point = lead.takes("P1", file)
    lead.takes("P1", file)
    lead.reads("this very photo again. It is kept once", within=point)
    lead.reads("as Before photo P1. It proves nothing here", within=lead.takes("P2", file))
    lead.all_is_safe()

    mate = UserFactory(role="installer", company=scene.job.company)
    OperativeFactory(company=scene.job.company, crew=scene.visit.crew, user=mate)
    other = pocket("mate")
    other.sign_in(mate)
    theirs = OnSite(other.page(), scene.visit)
    theirs.opens("photos/after/")
    point = theirs.takes("P1", file)
    theirs.reads("Refused: This very photo is there already, as Before photo P1", within=point)
    theirs.opens("photos/before/")
    point = theirs.takes("P1", file)
    theirs.reads("it was there before", within=point)
    assert is_stored_as(file)


def test_two_tabs_send_everything_once(
    pocket: Pocket, line: Line, server: Server, tmp_path: Path
) -> None:
    _, phone, lead = begun(pocket, "photos/before/", kept=True)
    second = OnSite(phone.page(), lead.visit)
    second.opens("arrival/")
    log_before = server.log.read_text(errors="replace")
    line.down()
    lead.takes("P1", big_photo(tmp_path))
    lead.has_on_phone(1)
    second.arrives()
    lead.has_on_phone(2)
    second.has_on_phone(2)
    line.up()
    lead.page.evaluate("window.dispatchEvent(new Event('online'))")
    second.page.evaluate("window.dispatchEvent(new Event('online'))")

    lead.all_is_safe()
    second.all_is_safe()
    said = server.log.read_text(errors="replace")[len(log_before) :]
    assert said.count("POST /api/v1/arrivals/ 201") == 1
    assert said.count("POST /uploads/ 201") == 1
    assert said.count("POST /api/v1/arrivals/") == said.count("POST /uploads/") == 1
    assert is_stored_as(big_photo(tmp_path))


def test_signing_out_keeps_the_queue_to_its_person(pocket: Pocket, line: Line) -> None:
    scene, phone, lead = begun(pocket, "arrival/", kept=True)
    line.down()
    lead.arrives()
    lead.has_on_phone(1)
    assert phone.context is not None
    phone.context.clear_cookies()  # signed out elsewhere: the phone does not know yet
    line.up()
    expect(lead.bar.get_by_role("link", name="on this phone only: sign in to send")).to_be_visible()

    stranger = UserFactory(role="installer", company=scene.job.company)
    signs_in(lead.page, stranger)  # by the page: kept pages of the other are dropped by that
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    lead.reads("One record of somebody else waits on this phone")
    lead.reads("All safe at the office", within=lead.bar)
    assert not Arrival.objects.exists()
    lead.page.get_by_role("button", name="Sign out").tap()
    expect(lead.page).to_have_url(line.address + "/account/sign-in/")
    kept = lead.page.evaluate("caches.keys()")
    assert not [name for name in kept if "pages" in name]
    line.down()
    lead.page.goto("/on-site/")
    lead.reads("This page is not kept on this phone")
    line.up()

    phone.sign_in(scene.installer)
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    lead.all_is_safe()
    assert Arrival.objects.get().recorded_by == scene.installer


def test_an_expired_sign_in_is_told_and_loses_nothing(pocket: Pocket, line: Line) -> None:
    scene, phone, lead = begun(pocket, "arrival/", kept=True)
    Session.objects.all().delete()
    cache.clear()
    lead.arrives()
    lead.has_on_phone(1)
    expect(lead.bar.get_by_role("link", name="on this phone only: sign in to send")).to_be_visible()

    phone.sign_in(scene.installer)
    lead.page.reload()
    lead.all_is_safe()
    assert Arrival.objects.count() == 1


def test_a_refused_record_is_mended_and_another_given_up(pocket: Pocket, line: Line) -> None:
    """A record that the office does not take stays, with the reason, until somebody decides."""
    scene, _, lead = begun(pocket, "handover/")
    lead.hands_over("A. Householder")
    lead.reads("1 refused", within=lead.bar)
    told_here = "The office did not take it.*It stays on this phone"  # unless the office is slow
    told = re.compile(f"{told_here}|Handover was refused by the office", re.DOTALL)
    expect(lead.page.locator("#main")).to_contain_text(told)
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    lead.reads("Refused by the office: 1", "Handover")

    lead.page.get_by_role("link", name="Change Handover").tap()
    lead.is_ready()
    expect(lead.page.get_by_label("Name of who signs")).to_have_value("A. Householder")
    lead.reads("The office did not take it")
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    lead.page.get_by_role("button", name="Give up Handover").tap()
    lead.page.get_by_label("Why?").fill("We come back on Thursday")
    lead.page.get_by_role("button", name="Give it up").tap()
    lead.reads("Nothing waits")
    expect(lead.page.get_by_role("button", name="Send now")).to_be_hidden()
    lead.all_is_safe()
    assert lead.queue()[0]["given_up_reason"] == "We come back on Thursday"


def test_a_refusal_is_forgotten_once_a_later_record_is_taken(pocket: Pocket, line: Line) -> None:
    scene, _, lead = begun(pocket, "handover/")
    lead.hands_over("A. Householder")
    lead.reads("1 refused", within=lead.bar)
    lead.opens()
    lead.reads("Handover was refused by the office")
    expect(lead.page.locator("body")).not_to_contain_text("keep this phone safe")
    record_pre_start_check(scene.visit, ALL_SAFE, scene.installer, timezone.now())
    lead.opens("handover/")
    lead.hands_over("A. Householder")
    lead.all_is_safe()
    lead.opens()
    taken = re.compile("Handed over to A. Householder|At the office since: Handover")
    expect(lead.page.locator("#main")).to_contain_text(taken)
    expect(lead.page.locator("[data-phone-line=end]:visible")).to_have_count(0)
    assert [item["state"] for item in lead.queue()] == ["given-up", "safe"]


def test_everything_can_be_saved_to_a_file(pocket: Pocket, line: Line, tmp_path: Path) -> None:
    _, _, lead = begun(pocket, "photos/before/", kept=True)
    line.down()
    file = big_photo(tmp_path)
    lead.takes("P1", file)
    lead.has_on_phone(1)
    lead.opens("arrival/")
    lead.arrives()
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    with lead.page.expect_download() as saving:
        lead.page.get_by_role("button", name="Save all of it to a file").tap()

    with zipfile.ZipFile(saving.value.path()) as saved:
        assert saved.testzip() is None
        told = json.loads(saved.read("records.json"))
        photo = next(item for item in told["items"] if item["type"] == "photo")
        arrival = next(item for item in told["items"] if item["kind"] == "arrival")
        assert saved.read(f"{photo['id']}.jpg") == file.read_bytes()
    assert arrival["body"]["let_in_by"] == "the householder"
