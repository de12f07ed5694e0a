"""How fast the pages and lists of the office, crews, auditor and platform are with many jobs.

    python -m benchmarks.office_pages [jobs] [--grown] [--worst 20]

Fills a database of its own with jobs of three years (30,000 unless told otherwise), beside the one
of DATABASE_URL, and opens as every role every address that the URL conf has and the role may read:
each list on its first and last page, under each of its filters, searches and orders. Told of each:
seconds the server took and of them of the processor, queries and seconds in the database, bytes.
With --grown all of it is done on a twentieth of the jobs too, and what asks more queries is named.
"""

from __future__ import annotations

import argparse
import html
import logging
import os
import re
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode, urljoin, urlsplit

JOBS = 30_000
AIM_SECONDS = 0.3
OPTIONS_TRIED = 3  # of a drop-down
ORDERS_TRIED = 12
ROLES = ("planner", "compliance_officer", "auditor", "installer", "surveyor", "platform_admin")
# What is asked of a search field, by what stands in it.
SEARCHED = ("Mockford", "LE12", "J-000123", "nothing like it")


@dataclass(frozen=True)
class Opened:
    role: str
    url: str
    route: str
    status: int
    seconds: float
    processor_seconds: float
    queries: int
    database_seconds: float
    size_bytes: int
    slowest: str

    @property
    def cost(self) -> float:
        """Of the processor here and, as it is nearly that, of the database's."""
        return self.processor_seconds + self.database_seconds

    def __str__(self) -> str:
        return (
            f"{self.seconds:7.3f} {self.processor_seconds:7.3f} {self.queries:5} "
            f"{self.database_seconds:7.3f} {self.size_bytes / 1000:8.0f}  {self.status} "
            f"{self.role:18} {self.url}"
        )


HEAD = "seconds    proc. quer. in data.       kB"


@dataclass
class _Watch:
    count: int = 0
    seconds: float = 0.0
    by_sql: dict[str, float] = field(default_factory=lambda: defaultdict(float))

    def __call__(self, execute: Any, sql: Any, params: Any, many: bool, context: Any) -> Any:
        begun = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            took = time.perf_counter() - begun
            self.count += 1
            self.seconds += took
            self.by_sql[str(sql)] += took

    @property
    def slowest(self) -> str:
        if not self.by_sql:
            return ""
        sql = max(self.by_sql, key=lambda one: self.by_sql[one])
        return f"{self.by_sql[sql]:.3f} s  {sql}"


class Visitor:
    """Somebody signed in; whatever opening a page writes is taken back."""

    def __init__(self, role: str, person: Any) -> None:
        from django.test import Client

        self.role = role
        self.client = Client(raise_request_exception=False)
        self.client.force_login(person)

    def open(self, url: str, route: str) -> tuple[Opened, str]:
        from django.db import connection, transaction

        watch = _Watch()
        with transaction.atomic(), connection.execute_wrapper(watch):
            begun, busy = time.perf_counter(), time.process_time()
            answer: Any = self.client.get(url)
            # Of a pack, which is as long as its jobs, what it takes to begin it.
            content = next(iter(answer.streaming_content)) if answer.streaming else answer.content
            took, worked = time.perf_counter() - begun, time.process_time() - busy
            transaction.set_rollback(True)
        opened = Opened(
            self.role,
            url,
            route,
            answer.status_code,
            took,
            worked,
            watch.count,
            watch.seconds,
            len(content),
            watch.slowest,
        )
        is_text = answer.headers.get("Content-Type", "").startswith(("text/html", "application/"))
        return opened, content.decode("utf-8", "replace") if is_text else ""


def open_everything(worlds: dict[str, Any], only: str = "") -> list[Opened]:
    """Each address as each role that may read it, with its variants; the second look counts."""
    from tests.access.addresses import ADDRESSES
    from tests.access.registry import OPEN, url_in

    world, found = worlds["own"], []
    for role in ROLES:
        visitor = Visitor(role, world.people[role])
        visitor.open("/", "")
        for address in ADDRESSES:
            mine = address.name in OPEN or role in address.read_roles
            wanted = "GET" in address.methods and only in address.route
            if not mine or not wanted or "logout" in address.name:
                continue
            url = url_in(address, world)
            opened, text = visitor.open(url, address.route)
            if opened.status != 200:
                continue
            if opened.seconds > AIM_SECONDS / 2:  # what is looked up once a process is known now
                opened, text = visitor.open(url, address.route)
            found.append(opened)
            for other in _variants(address, url, text):
                found.append(visitor.open(other, address.route)[0])
    return found


def _variants(address: Any, url: str, text: str) -> Iterator[str]:
    seen = {url}
    others = _of_list(address, url, text) if address.is_api else _of_page(url, text)
    for other in others:
        if other not in seen:
            seen.add(other)
            yield other


SAME_PAGE = re.compile(r'<a[^>]+href="([^"]*\?[^"]*)"')
FORM = re.compile(r"<form(?P<head>[^>]*)>(?P<body>.*?)</form>", re.S)
SELECT = re.compile(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', re.S)
OPTION = re.compile(r'<option[^>]*value="([^"]+)"')
INPUT = re.compile(r'<input[^>]*type="(?:search|text)"[^>]*name="([^"]+)"')
OTHER_INPUT = re.compile(r'<input[^>]*name="([^"]+)"[^>]*type="(?:search|text)"')


def _of_page(url: str, text: str) -> Iterator[str]:
    """Links to the page itself (orders, pages) and the choices of its forms that only ask."""
    links = [urljoin(url, html.unescape(one)) for one in SAME_PAGE.findall(text)]
    same = [one for one in links if urlsplit(one).path == urlsplit(url).path]
    orders = [one for one in same if "page=" not in one]
    pages = [one for one in same if "page=" in one]
    yield from orders[:ORDERS_TRIED]
    yield from sorted(pages, key=_page_number)[-1:]
    for form in FORM.finditer(text):
        if "post" in form["head"].lower():
            continue
        action = re.search(r'action="([^"]*)"', form["head"])
        to = urljoin(url, html.unescape(action[1])) if action else url
        if urlsplit(to).path != urlsplit(url).path:
            continue
        for name, options in SELECT.findall(form["body"]):
            for option in OPTION.findall(options)[:OPTIONS_TRIED]:
                yield _with(url, name, html.unescape(option))
        for name in INPUT.findall(form["body"]) + OTHER_INPUT.findall(form["body"]):
            for words in SEARCHED:
                yield _with(url, name, words)


def _page_number(url: str) -> int:
    number = re.search(r"page=(\d+)", url)
    return int(number[1]) if number else 0


def _of_list(address: Any, url: str, text: str) -> Iterator[str]:
    """The next page, a large one, and each filter with a value of its kind."""
    following = re.search(r'"next":\s*"([^"]+)"', text)
    if '"results"' not in text:
        return
    if following:
        parts = urlsplit(following[1])
        yield f"{parts.path}?{parts.query}"
        yield _with(url, "page_size", "500")
        yield _with(url, "cursor", "cD0x")  # "p=1": the oldest end
    from django_filters import rest_framework as filters

    from jobs.api.filters import FilterBackend

    view = address.view.cls()
    view.request, view.kwargs = None, {}
    filter_set = FilterBackend().get_filterset_class(view, view.queryset)
    for name, one in (filter_set.base_filters if filter_set else {}).items():
        if isinstance(one, filters.BooleanFilter):
            values = ["true", "false"]
        elif isinstance(one, filters.ChoiceFilter | filters.MultipleChoiceFilter):
            values = [str(value) for value, _ in one.extra["choices"]][:OPTIONS_TRIED]
        elif isinstance(one, filters.NumberFilter):
            values = ["1"]
        elif isinstance(one, filters.DateFilter | filters.DateTimeFilter):
            values = ["2026-06-01"]
        else:
            values = list(SEARCHED[:2])
        for value in values:
            yield _with(url, name, value)


def _with(url: str, name: str, value: str) -> str:
    return f"{url.partition('?')[0]}?{urlencode({name: value})}"


def report(found: list[Opened], worst: int) -> None:
    print(f"\n{len(found):,} openings, load average {os.getloadavg()[0]:.1f}\n{HEAD}")
    for one in sorted(found, key=lambda one: (one.role, one.url)):
        print(one)
    print(f"\nThe slowest {worst}, by seconds of processor and database\n{HEAD}")
    shown: set[tuple[str, str]] = set()
    for one in sorted(found, key=lambda one: -one.cost):
        if (one.role, one.route) not in shown:
            shown.add((one.role, one.route))
            print(f"{one}\n        {one.slowest[:300]}")
        if len(shown) == worst:
            break
    slow = [one for one in found if one.processor_seconds > AIM_SECONDS or one.cost > AIM_SECONDS]
    print(f"\n{len(slow)} of them above {AIM_SECONDS} s")


def compare(few: list[Opened], many: list[Opened]) -> None:
    """What asks more queries for being larger."""
    before = {(one.role, one.url): one.queries for one in few}
    print("\nQueries that grew")
    for one in many:
        asked = before.get((one.role, one.url), one.queries)
        if one.queries > asked + 2:
            print(f"{asked:5} to {one.queries:5}  {one.role:18} {one.url}")


def main(jobs: int, worst: int, grown: bool) -> None:
    from benchmarks.own_database import own_database

    sizes = [jobs // 20, jobs] if grown else [jobs]
    looks = []
    for size in sizes:
        with own_database("eavesbook_office_pages"):
            from benchmarks.office_world import fill

            logging.disable(logging.WARNING)
            print(f"{size:,} jobs")
            looks.append(open_everything(fill(size)))
    report(looks[-1], worst)
    if grown:
        compare(looks[0], looks[-1])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("jobs", type=int, nargs="?", default=JOBS)
    parser.add_argument("--worst", type=int, default=20)
    parser.add_argument("--grown", action="store_true", help="a twentieth of the jobs first")
    given = parser.parse_args()
    main(given.jobs, given.worst, given.grown)
