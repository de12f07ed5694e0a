"""What people do in their browsers, in their own words: `Planner(page).takes_in(home)`.

They find things by what is written on them, type and press, and look at what is shown. On a
phone they tap. Nobody here looks into the database.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Locator, Page, expect
from pypdf import PdfReader

from tests.factories import PASSWORD
from tests.pictures import loft_jpeg

PATIENCE_MS = 30_000
LOOK_AGAIN_MS = 250
NOTHING_MOVES = """
() => !document.getElementById("phone-bar") || "ready" in document.documentElement.dataset
"""
"""On a phone's page: what the phone itself says on it has its place. Others have no such bar."""

expect.set_options(timeout=PATIENCE_MS)


@dataclass(frozen=True)
class Home:
    """A home as the office hears of it."""

    reference: str
    address: str
    postcode: str = "LE1 1AA"
    town: str = "Sampleton"
    nation: str = "England"


@dataclass(frozen=True)
class Loft:
    """A rectangular loft with eaves along its long sides, a hatch and a downlight."""

    length_m: str = "5"
    width_m: str = "4"
    existing_mm: str = "80"


class Person:
    """Somebody at a screen."""

    def __init__(self, page: Page, email: str) -> None:
        self.page = page
        self.email = email

    def signs_in(self) -> None:
        self.page.goto("/")
        self.types("E-mail", self.email, "Email")
        self.types("Password", PASSWORD)
        self.presses("Sign in")
        expect(self.page).not_to_have_url(re.compile("/account/"))

    def types(self, label: str, text: str, *others: str, within: Locator | None = None) -> None:
        place = within or self.page
        found = place.get_by_label(label)
        for other in others:
            found = found.or_(place.get_by_label(other))
        found.first.fill(text)

    def chooses(self, label: str, choice: str, within: Locator | None = None) -> None:
        (within or self.page).get_by_label(label).first.select_option(label=choice)

    def presses(self, name: str, within: Locator | None = None) -> None:
        """A button, or a link that looks like one."""
        place = within or self.page.locator("body")
        button = place.get_by_role("button", name=name).or_(place.get_by_role("link", name=name))
        self.touches(button.first)

    def touches(self, thing: Locator) -> None:
        thing.click()

    def reads(self, *words: str, within: Locator | None = None) -> None:
        place = within or self.page.get_by_role("main")
        for text in words:
            expect(place).to_contain_text(text)

    def arrives_where_it_says(self, *words: str) -> None:
        """The next page is there to its last line, and its scripts listen to keys and fingers."""
        self.reads(*words)
        self.page.wait_for_load_state()
        self.page.wait_for_function(NOTHING_MOVES)

    def looks_again_until(self, thing: Locator) -> None:
        """Reload until it is there: what the background does shows on the next look."""
        deadline = PATIENCE_MS // LOOK_AGAIN_MS
        for _ in range(deadline):
            if thing.first.is_visible():
                return
            try:
                expect(thing.first).to_be_visible(timeout=LOOK_AGAIN_MS)
            except AssertionError:
                self.page.reload()
        expect(thing.first).to_be_visible()


class Planner(Person):
    def takes_in(self, home: Home) -> None:
        """From the desk; ends on the page of the new job."""
        self.page.goto("/")
        self.presses("Take in a home")
        self.types("Your own reference", home.reference)
        self.types("Address, first line", home.address)
        self.types("Town", home.town)
        self.types("Postcode", home.postcode)
        self.chooses("Nation", home.nation)
        self.types("Latitude", "52.63")
        self.types("Longitude", "-1.13")
        self.types("Householder name", "A. Householder")
        self.presses("Take it in")
        self.reads("is taken in as", home.address)

    def opens(self, home: Home) -> None:
        self.page.goto("/")
        self.presses("Jobs", within=self.page.get_by_role("navigation"))
        self.touches(self.page.get_by_role("link", name=home.address))
        expect(self.page.get_by_role("heading", level=1)).to_contain_text(home.address)

    def books(self, kind: str, crew: str, arrives: str) -> None:
        """On the job's page: a visit on the next working day, which the form proposes."""
        self.presses("Book a visit")
        self.chooses("Kind of visit", kind)
        self.chooses("Crew", crew)
        self.types("Arrives at", arrives)
        self.presses("Book it")
        self.reads("Booked:", crew)

    def sees_quantities(self) -> None:
        """Rolls, crew-hours and both U-values; the page shows them by itself once reckoned."""
        layers = self.page.locator("section", has=self.page.get_by_role("heading", name="Layers"))
        self.reads("U-value after", within=layers)
        for name in ("Rolls", "Crew time", "U-value before", "U-value after"):
            assert self.figure(name, layers) > 0, name
        assert self.figure("U-value after", layers) < self.figure("U-value before", layers)

    def figure(self, name: str, within: Locator) -> float:
        box = within.locator("div", has=self.page.get_by_text(name, exact=True)).last
        found = re.search(r"[\d.]+", box.locator("dd").inner_text())
        assert found, name
        return float(found.group())


class OnPhone(Person):
    def touches(self, thing: Locator) -> None:
        thing.tap()


class Surveyor(OnPhone):
    def surveys(self, home: Home, loft: Loft) -> None:
        """From today's list to the finished survey, watching the drawing appear."""
        self.page.goto("/")
        self.touches(self.page.get_by_role("link", name=home.address))
        sketch = self.page.get_by_label("The loft as typed")
        self.arrives_where_it_says("The drawing appears as soon as")
        self._measures(loft)
        expect(sketch.locator("svg")).to_be_visible()
        self.reads("The hatch is not on the drawing", within=sketch)
        self._places_hatch_and_downlight()
        self.reads("Nothing is missing", within=sketch)
        self.presses("Finish the survey")
        self.reads("is finished")

    def _measures(self, loft: Loft) -> None:
        area = self.page.get_by_role("group", name="Area 1")
        self.types("Length (across)", loft.length_m, within=area)
        self.types("Width (up)", loft.width_m, within=area)
        self.types("Sides at the eaves", "1, 3", within=area)
        self.types("Insulation there now", loft.existing_mm, within=area)

    def _places_hatch_and_downlight(self) -> None:
        self.presses("Add an obstacle")
        hatch = self.page.get_by_role("group", name="Obstacle 1")
        self.chooses("Kind", "Hatch", within=hatch)
        self.types("Name", "Loft hatch", within=hatch)
        self.types("Length (across)", "0.7", within=hatch)
        self.types("Width (up)", "0.6", within=hatch)
        self.types("From the left", "4", within=hatch)
        self.types("From below", "3", within=hatch)
        self.presses("Add a fixture")
        light = self.page.get_by_role("group", name="Fixture 1")
        self.chooses("Kind", "Downlight", within=light)
        self.types("Name", "Bathroom light", within=light)
        self.types("From the left", "1.2", within=light)
        self.types("From below", "1.1", within=light)


class Installer(OnPhone):
    def opens_visit(self, home: Home, kind: str) -> None:
        self.page.goto("/")
        visit = self.page.get_by_role("link", name=home.address).filter(has_text=kind)
        self.looks_again_until(visit)  # on a slow line the phone first shows the day as it kept it
        self.touches(visit)
        self.reads("Order of work", home.address)

    def goes_on(self, call: str) -> None:
        """The one big button at the bottom of the visit."""
        self.presses(call, within=self.page.locator("#action-bar"))

    def takes_the_step(self, call: str) -> None:
        """The next step of a visit. On a slow line the phone shows its kept page first."""
        self.arrives_where_it_says("Order of work")
        bar = self.page.locator("#action-bar")
        self.looks_again_until(bar.get_by_role("link", name=call))
        self.goes_on(call)

    def sees_it_done(self, step: str, how: str = "") -> None:
        """The office's own word on the visit's page, not the phone's."""
        self.arrives_where_it_says("Order of work")
        row = self.page.locator("li.work-done", has_text=step)
        self.looks_again_until(row.filter(has_text=f"Done: {how}"))

    def arrives(self) -> None:
        self.takes_the_step("We are here")
        self.arrives_where_it_says("Who let you in?")
        ready = self.page.get_by_role("group", name="Is the loft empty")
        self.touches(ready.get_by_text("Yes", exact=True))
        self.goes_on("We are here")
        self.sees_it_done("Loft empty and safe", "yes")

    def checks_before_starting(self) -> None:
        self.takes_the_step("Start the pre-start check")
        self.arrives_where_it_says("Before anyone goes up")
        for question in self.page.locator("fieldset.question").all():
            safe = question.locator("label", has=self.page.locator("input:not([data-unsafe])"))
            self.touches(safe.first)
        self.goes_on("Save the check")
        self.sees_it_done("Pre-start check", "safe to start")

    def photographs(self, moment: str, folder: Path, seed: int, depth_mm: int) -> None:
        """One photo at every point of the moment, each told as stored before the next."""
        self.arrives_where_it_says("“Stored at the office” means it is safe there")
        labels = self.page.locator(".point-label").all_inner_texts()
        assert labels
        for number, label in enumerate(labels, start=seed):
            file = folder / f"{moment}-{number}.jpg"
            file.write_bytes(loft_jpeg(number, moment=moment, point_label=label, depth_mm=depth_mm))
            self._photographs_at(label, file)
        self.goes_on("Go on")

    def _photographs_at(self, label: str, file: Path) -> None:
        point = self.page.locator(f"[data-point={label}]")
        with self.page.expect_file_chooser() as chooser:
            self.touches(point.locator("label", has_text="Take photo"))
        chooser.value.set_files(file)
        self.reads("tored at the office", within=point)
        expect(point.locator("img")).to_be_visible()

    def lays_by_the_drawing(self) -> None:
        """Each step with its drawing, until the after photos are next."""
        bar = self.page.locator("#action-bar")
        laying = bar.get_by_role("link", name=re.compile("eaves|layer|hatch|after photos"))
        while True:
            self.arrives_where_it_says("Order of work")
            self.looks_again_until(laying)
            call = laying.inner_text()
            self.goes_on(call)
            if "after photos" in call:
                return
            self.arrives_where_it_says("While you lay")
            if "hatch" not in call:
                expect(self.page.locator(".drawing svg").first).to_be_visible()
            self._says_it_is_done()

    def _says_it_is_done(self) -> None:
        step = self.page.get_by_role("heading", level=1).inner_text()
        for question in self.page.locator("fieldset.question").all():
            self.touches(question.get_by_text("Yes", exact=True))
        self.goes_on("Save this step")
        self.sees_it_done(step)

    def measures(self, depths_mm: Iterable[int]) -> None:
        """Tap a dotted ring on the drawing, type the depth, save; until none is wanted."""
        self.takes_the_step("Measure the depth")
        self.arrives_where_it_says("Measure next")
        wanted = self.page.get_by_role("heading", name="Measure next")
        for count, depth_mm in enumerate(depths_mm, start=1):
            self.touches(self.page.locator("circle.touch-wanted").first)
            self.types("Depth", str(depth_mm), within=self.page.locator("#step-form"))
            self.presses("Save the reading")
            self.reads(f"Stored at the office: {count}")
            if not wanted.is_visible():
                break
        self.touches(self.page.get_by_role("link", name="The visit"))

    def hands_over(self, signer: str) -> None:
        self.takes_the_step("Hand over")
        self.arrives_where_it_says("Tell the householder")
        told = self.page.get_by_role("group", name="Tell the householder")
        for caution in told.get_by_role("checkbox").all():
            self.touches(caution)
        expect(told.get_by_role("checkbox", checked=True)).not_to_have_count(0)
        self.touches(self.page.get_by_text("Everything is done"))
        self.types("Name of who signs", signer)
        self._has_it_signed()
        self.goes_on("Sign and hand over")
        self.sees_it_done("Handover", f"signed by {signer}")

    def leaves(self) -> None:
        self.takes_the_step("Leave the home")
        self.arrives_where_it_says("Is the hatch shut")
        for question in self.page.locator("fieldset.question").all():
            self.touches(question.get_by_text("Yes", exact=True))
        self.goes_on("Leave")
        self.arrives_where_it_says("Your visits", "Today")

    def _has_it_signed(self) -> None:
        pad = self.page.locator("canvas.signature-pad")
        pad.hover()  # waits until the page has come to rest
        box = pad.bounding_box()
        assert box
        pen = self.page.mouse
        pen.move(box["x"] + 40, box["y"] + 60)
        pen.down()
        for step in range(1, 9):
            pen.move(box["x"] + 40 + 25 * step, box["y"] + 60 + (20 if step % 2 else -20))
        pen.up()
        expect(self.page.get_by_text("Signed", exact=True)).to_be_visible()


class ComplianceOfficer(Person):
    def opens_verdict(self, home: Home) -> None:
        """From the first page, looking again until the background has judged the loft."""
        self.page.goto("/")
        link = self.page.get_by_role("link", name=home.address)
        self.looks_again_until(link)
        self.touches(link.first)

    def sees(self, mark: str) -> None:
        self.looks_again_until(self.page.locator(".verdict-line", has_text=mark))

    def downloads_certificate(self) -> PdfReader:
        link = self.page.get_by_role("link", name="Certificate (PDF)")
        self.looks_again_until(link)
        answer = self.page.request.get(link.get_attribute("href") or "")
        assert answer.headers["content-type"] == "application/pdf"
        return PdfReader(io.BytesIO(answer.body()))

    def sends_call_back(self, crew: str, arrives: str) -> None:
        self.presses("Send a call-back")
        self.chooses("Crew", crew)
        self.types("Arrives at", arrives)
        self.presses("Send the call-back")
        self.reads("Booked:", crew)

    def answers_finding(self, text: str, answer: str) -> None:
        self.page.goto("/")
        self.presses("Findings", within=self.page.get_by_role("navigation"))
        row = self.page.get_by_role("row", name=re.compile(re.escape(text)))
        self.touches(row.get_by_role("link"))
        self.types("Answer", answer)
        self.presses("Answer the auditor")
        self.reads("Answered.", answer)


class Householder(Person):
    """Somebody with the paper in hand and no account."""

    def __init__(self, page: Page) -> None:
        super().__init__(page, "")

    def checks(self, code: str) -> None:
        self.page.goto("/check/")
        self.types("Code of the certificate", code)
        self.presses("Check it")


class Auditor(Person):
    def begins_round(self, name: str, day: str) -> None:
        self.page.goto("/")
        self.presses("Begin a round")
        self.arrives_where_it_says("Make a secret on this device")
        self.types("Name", name)
        self.types("Certified from", day)
        self.types("Certified to", day)
        self.presses("Make a secret on this device")
        expect(self.page.get_by_label("Commitment")).to_have_value(re.compile("^[0-9a-f]{64}$"))
        self.presses("Begin the round")
        expect(self.page.get_by_role("heading", level=1)).to_have_text(name)

    def seals_and_draws(self) -> None:
        self.presses("Seal the population")
        self.reads("Sealed:")
        expect(self.page.get_by_label("Your secret")).to_have_value(re.compile("^[0-9a-f]{64}$"))
        self.presses("Draw the sample")
        self.reads("Drawn:", "Repeated just now")

    def reads_first_drawn_job(self) -> str:
        """Opens it; returns the heading of its page."""
        sample = self.page.locator("section", has_text="In the order drawn")
        self.touches(sample.get_by_role("link").first)
        self.arrives_where_it_says(
            "Readings", "Before and after", "Nothing is found on this job yet"
        )
        return self.page.get_by_role("heading", level=1).inner_text()

    def records_finding(self, severity: str, text: str) -> None:
        """By keyboard, as a draft, then released."""
        self.page.keyboard.press("f")
        self.page.get_by_role("radio", name=severity).check()
        self.types("What was found", text)
        self.page.keyboard.press("Control+Enter")
        self.reads(text, f"{severity}, draft")
        self.presses("Release 1 on this job")
        self.reads("Released: 1.", text, "To be answered by")
