"""What a planner does on the planning board: by mouse, by finger, by keyboard."""

from __future__ import annotations

from datetime import date
from typing import Any

from playwright.sync_api import CDPSession, Locator, Response, Route, expect

from jobs.models import Crew
from tests.browser.people import Person
from tests.browser.traffic import Traffic


class BoardPlanner(Person):
    """A planner with the board open. Places are told as a crew and an hour of the shown day."""

    def opens_board(self, day: date, days: int = 1) -> None:
        """Until it rests: rows that come into sight are fetched, and move what lies below."""
        Traffic(self.page).opens(f"/planning/?from={day.isoformat()}&days={days}")
        expect(self.page.locator("body.has-script")).to_be_visible()

    def holds_back(self, address: str) -> Held:
        """From now on requests for that address wait until they are let through."""
        held = Held()
        self.page.route(address, held.takes)
        return held

    def block(self, address: str) -> Locator:
        return self.page.locator(f'.block > a[data-place="{address}"]')

    def card(self, address: str) -> Locator:
        return self.page.locator(f'.need[data-place="{address}"]')

    def track(self, crew: Crew) -> Locator:
        return self.page.locator(f"#crew-{crew.pk} .track").first

    def point(self, crew: Crew, hour: float) -> tuple[float, float]:
        """Where that hour of a crew's day is in the window."""
        box = self.track(crew).bounding_box()
        assert box
        board = self.page.locator("#board")
        opens = float(board.get_attribute("data-opens") or 0)
        hours = float(board.get_attribute("data-hours") or 1)
        return box["x"] + (hour - opens) / hours * box["width"], box["y"] + 24

    def drags(self, thing: Locator, crew: Crew, hour: float, *, drop: bool = True) -> None:
        """Takes a thing near its left edge and lets go so that it begins at that hour."""
        self.track(crew).scroll_into_view_if_needed()
        thing.scroll_into_view_if_needed()
        box = thing.bounding_box()
        assert box
        x, y = self.point(crew, hour)
        mouse = self.page.mouse
        mouse.move(box["x"] + 8, box["y"] + 12)
        mouse.down()
        mouse.move(box["x"] + 24, box["y"] + 20, steps=3)
        mouse.move(x + 8, y, steps=6)
        if drop:
            mouse.up()

    def drags_by_finger(self, thing: Locator, crew: Crew, hour: float) -> None:
        """Holds a finger on it, moves the finger, lifts it."""
        self.track(crew).scroll_into_view_if_needed()
        thing.scroll_into_view_if_needed()
        box = thing.bounding_box()
        assert box
        x, y = self.point(crew, hour)
        finger = Finger(self.page.context.new_cdp_session(self.page))
        finger.touches(box["x"] + 8, box["y"] + 12)
        expect(self.page.locator("body.is-dragging")).to_be_visible()  # held long enough
        finger.slides(x + 8, y)
        finger.lifts()

    def is_told(self, *words: str) -> None:
        self.reads(*words, within=self.page.locator("#planning-told"))

    def has_news(self) -> None:
        """Asks what others have changed without waiting for the next time, and takes it in."""
        traffic = Traffic(self.page)
        with self.page.expect_response(is_news):
            self.page.evaluate("window.htmx.trigger('#planning-news', 'planning:look-again')")
        traffic.rests()

    def hears(self, words: str) -> None:
        """What a screen reader says."""
        expect(self.page.locator("#planning-said")).to_contain_text(words)

    def sees_at(self, address: str, crew: Crew, clock: str) -> None:
        block = self.page.locator(f'#crew-{crew.pk} .block > a[data-place="{address}"]')
        expect(block).to_contain_text(clock)


def is_news(answer: Response) -> bool:
    return "/planning/news/" in answer.url and "hx-trigger" in answer.headers


class Held:
    """Requests that wait, as on a slow line."""

    def __init__(self) -> None:
        self.waiting: list[Route] = []

    def takes(self, route: Route) -> None:
        self.waiting.append(route)

    def let_through(self) -> None:
        for route in self.waiting:
            route.continue_()


class Finger:
    """One finger on a touch screen, as the browser's input sees it."""

    def __init__(self, session: CDPSession) -> None:
        self.session = session
        self.x = self.y = 0.0

    def _sends(self, kind: str, points: list[dict[str, Any]]) -> None:
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def touches(self, x: float, y: float) -> None:
        self.x, self.y = x, y
        self._sends("touchStart", [{"x": x, "y": y}])

    def slides(self, x: float, y: float, steps: int = 8) -> None:
        from_x, from_y = self.x, self.y
        for step in range(1, steps + 1):
            self.x = from_x + (x - from_x) * step / steps
            self.y = from_y + (y - from_y) * step / steps
            self._sends("touchMove", [{"x": self.x, "y": self.y}])

    def lifts(self) -> None:
        self._sends("touchEnd", [])
