"""Every template compiles, keeps to the content security policy, and uses classes that exist."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.template.loader import get_template, render_to_string

PROJECT = Path(__file__).resolve().parents[2]
ROOTS = [PROJECT / room / "templates" for room in ("deploy", "jobs", "compliance")]
TEMPLATES = [(root, path) for root in ROOTS for path in sorted(root.rglob("*.html"))]
STYLES = "".join(
    path.read_text()
    for room in ("deploy", "jobs", "compliance")
    for path in (PROJECT / room / "static").rglob("*.css")
)
ERROR_PAGES = ("400.html", "403.html", "403_csrf.html", "404.html", "500.html", "503.html")

named = pytest.mark.parametrize(
    ("path", "name"),
    [
        pytest.param(path, str(path.relative_to(root)), id=str(path.relative_to(PROJECT)))
        for root, path in TEMPLATES
    ],
)


class Refused(HTMLParser):
    """Collects what the content security policy would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(f"<{tag}>")
        for name, value in attrs:
            if name == "style" or name.startswith(("on", "hx-on")):
                self.found.append(name)
            if (
                value
                and re.match(r"\s*(javascript|data|https?):", value)
                and name in ("href", "src")
            ):
                self.found.append(f"{name}={value}")


def html_of(path: Path) -> str:
    """A template's HTML with the template language taken out."""
    return re.sub(r"\{[%#].*?[%#]\}|\{\{.*?\}\}", "", path.read_text(), flags=re.DOTALL)


@named
def test_it_compiles(path: Path, name: str) -> None:
    assert get_template(name).template.nodelist


@named
def test_it_holds_nothing_inline(path: Path, name: str) -> None:
    parser = Refused()
    parser.feed(html_of(path))
    assert parser.found == []


@named
def test_its_classes_are_in_the_stylesheet(path: Path, name: str) -> None:
    """All but those filled in by a variable, and those that only name a part for a script (js-)."""
    source = re.sub(r"\{[%#].*?[%#]\}", " ", path.read_text(), flags=re.DOTALL)
    source = re.sub(r"\{\{.*?\}\}", "VARIABLE", source)
    used = {name for value in re.findall(r'class="([^"]*)"', source) for name in value.split()}
    fixed = {name for name in used if "VARIABLE" not in name and not name.startswith("js-")}
    assert fixed - set(re.findall(r"\.([a-z][a-z0-9_-]*)", STYLES)) == set()


@pytest.mark.parametrize("name", ERROR_PAGES)
def test_an_error_page_needs_no_context_and_names_a_remedy(name: str) -> None:
    html = render_to_string(name)
    assert re.search(r"<h1>[^<]{10,}</h1>", html)
    lead = re.search(r'<p class="lead">([^<]+)</p>', html)
    assert lead
    assert re.search(r"\b(Go back|Check|Wait)\b", lead.group(1))
    assert 'href="/"' in html
