"""Pages without signal, with hardly any, and how the states of a record look to axe-core.

axe-core's rules are those it marks as WCAG 2.0 to 2.2, levels A and AA
(https://www.w3.org/TR/WCAG22/); 48 px is what the product asks of a target, more than the
24 px of WCAG 2.2's criterion 2.5.8.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from jobs.evidence.clock import told_time
from jobs.models import Arrival, PreStartCheck
from jobs.pages.phone_shell import FILES, shell
from tests.browser.axe import violations
from tests.browser.line import Line
from tests.browser.phones import OnSite, Phone, scene_today
from tests.browser.shapes import PHONE
from tests.jobs.on_site_scene import scene_on_site
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.browser
Pocket = Callable[[str], Phone]

STEPS = (
    "",
    "check/",
    "photos/before/",
    "work/eaves/",
    "layers/",
    "readings/",
    "handover/",
    "stop/",
)
ONLY_OF = """
async (version) => {
  const isOther = (name) => !name.endsWith(version);
  while ((await caches.keys()).some(isOther)) await new Promise((next) => setTimeout(next, 100));
}
"""
SET_CLOCK = """
(ahead_ms) => {
  self.aheadMs = ahead_ms;
  if (self.ThereDate) return;
  self.ThereDate = Date;
  self.Date = class extends Date {
    constructor(...given) { super(...(given.length ? given : [Date.now()])); }
    static now() { return self.ThereDate.now() + self.aheadMs; }
  };
}
"""
SMALL_TARGETS = """
() => Array.from(document.querySelectorAll("a, button, summary"))
  .filter((each) => each.checkVisibility() && !each.matches(".skip-link"))
  .map((each) => [each.textContent.trim(), each.getBoundingClientRect()])
  .filter(([, box]) => box.height < 48 || box.width < 48)
  .map(([text, box]) => text + " " + Math.round(box.width) + " x " + Math.round(box.height))
"""


def test_every_page_of_the_day_opens_without_signal(pocket: Pocket, line: Line) -> None:
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()

    line.down()
    lead.page.goto("/on-site/")
    lead.reads(scene.job.property.address_line_1)
    titles = {}
    for step in STEPS:
        lead.opens(step)
        titles[step] = lead.page.locator("h1").inner_text()
    assert [step for step, title in titles.items() if title == "No signal"] == []
    lead.page.goto("/on-site/visits/2000000000/")
    lead.reads("This page is not kept on this phone")
    assert violations(lead.page) == []

    line.silent()  # one bar: connections are taken and never answered
    lead.opens("check/")
    lead.reads("Before anyone goes up")


def test_a_newer_version_takes_over_with_every_page(pocket: Pocket, line: Line) -> None:
    """Styles and scripts of a new release, the kept pages made anew for them; then no signal."""
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()
    here = sorted(lead.page.evaluate("caches.keys()"))
    version = here[0].rpartition("-")[2]
    newer = version[::-1]
    line.swap = (version.encode(), newer.encode())

    lead.page.goto("/on-site/")
    lead.page.evaluate(ONLY_OF, newer)
    line.down()
    for step in STEPS:
        lead.opens(step)
        expect(lead.page.locator("h1")).not_to_have_text("No signal")
    assert sorted(lead.page.evaluate("caches.keys()")) == [
        name.replace(version, newer) for name in here
    ]


def test_a_slow_line_no_worker_and_a_clock_that_is_ahead(pocket: Pocket, line: Line) -> None:
    """Slow 3G (400 kbit/s, 400 ms), a browser without service workers, seven minutes ahead."""
    scene = scene_today()
    phone = pocket("lead")
    phone.shape = {**PHONE, "service_workers": "block"}
    phone.open().add_init_script("const now = Date.now; Date.now = () => now() + 7 * 60000;")
    phone.context.add_init_script(  # type: ignore[union-attr]
        "const There = Date; Date = class extends There {"
        " constructor(...given) { super(...(given.length ? given : [There.now()])); } };"
    )
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    line.slow(0.4, 400)
    lead.opens("arrival/")
    lead.arrives()
    lead.all_is_safe()
    warning = lead.page.get_by_text("This phone's clock is 7 min ahead")
    expect(warning).to_be_visible()
    assert round(Arrival.objects.get().phone_ahead / timedelta(minutes=1)) == 7


def test_a_clock_that_is_set_right_before_sending(pocket: Pocket, line: Line) -> None:
    """Seven minutes ahead, in the page and in the worker that sends; then set right, by hand."""
    scene = scene_today()
    phone = pocket("lead")
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()
    assert phone.context is not None
    (worker,) = phone.context.service_workers

    def set_clocks(ahead_min: int) -> None:
        for place in (lead.page, worker):
            place.evaluate(SET_CLOCK, ahead_min * 60_000)

    lead.opens("arrival/")
    set_clocks(7)
    lead.arrives()  # sent at once, by the same clock
    lead.all_is_safe()
    line.down()
    lead.opens("check/")
    set_clocks(7)
    lead.answers_safely()
    lead.goes_on("Save the check")
    lead.page.wait_for_url(f"**{lead.address()}")  # it goes there by itself
    lead.has_on_phone(1)
    set_clocks(0)
    line.up()
    lead.all_is_safe()

    arrival, check = Arrival.objects.get(), PreStartCheck.objects.get()
    assert abs(arrival.corrected_at - arrival.received_at) < timedelta(minutes=1)
    assert told_time(arrival, "arrived_at").doubt == ""
    assert check.checked_at > check.received_at
    assert check.corrected_at <= check.received_at
    assert "The phone's clock was changed" in told_time(check, "checked_at").doubt


def test_the_states_of_what_is_on_the_phone(pocket: Pocket, line: Line, tmp_path: Path) -> None:
    """Waiting, refused and safe, on the pages that show them, in light and in torch light."""
    scene = scene_today(scene_on_site)
    phone = pocket("lead")
    phone.shape = {**PHONE, "color_scheme": "dark", "forced_colors": "none"}
    phone.sign_in(scene.installer)
    lead = OnSite(phone.page(), scene.visit)
    lead.keeps_the_day()
    found: dict[str, object] = {}

    def look(name: str) -> None:
        for scheme in ("light", "dark"):
            lead.page.emulate_media(color_scheme=scheme)
            if told := violations(lead.page):
                found[f"{name}, {scheme}"] = told
        if small := lead.page.evaluate(SMALL_TARGETS):
            found[f"{name}, too small for a thumb"] = small
        wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
        if lead.page.evaluate(wide):
            found[f"{name}, sideways"] = True

    lead.opens("readings/")
    lead.page.locator("circle.touch-wanted").first.tap()
    lead.page.locator("#id_depth_mm").fill("281")
    lead.page.get_by_role("button", name="Save the reading").tap()
    lead.reads("Stored at the office: 1")  # the page's parts were taken anew, nothing refused
    lead.opens("photos/before/")
    file = tmp_path / "words.jpg"
    file.write_bytes(b"no photo at all")
    lead.reads("Refused", within=lead.takes("P2", file))
    line.down()
    file = tmp_path / "before.jpg"
    file.write_bytes(loft_jpeg(5))
    lead.takes("P1", file)
    lead.reads("On this phone only", within=lead.page.locator('[data-point="P1"]'))
    look("photos")
    lead.opens("readings/")
    lead.page.locator("circle.touch-wanted").first.tap()
    lead.page.locator("#id_depth_mm").fill("270")
    lead.page.get_by_role("button", name="Save the reading").tap()
    lead.reads("So far, with those on this phone")
    look("readings")
    lead.opens()
    lead.reads("On this phone only: Depth reading", within=lead.row("readings"))
    lead.reads("One was refused", within=lead.row("before"))
    look("the visit")
    lead.page.goto("/on-site/kept/")
    lead.is_ready()
    lead.reads("Refused by the office: 1", "On this phone only: 2")
    look("what is on this phone")
    assert found == {}


def test_the_shell_forgets_no_script() -> None:
    static = Path(__file__).resolve().parents[2] / "deploy" / "static"
    scripts = {f"on_site/{path.name}" for path in (static / "on_site").glob("*.js")}
    assert scripts == {name for name in FILES if name.startswith("on_site/")}
    assert len(shell().urls) == len(FILES) + 1
