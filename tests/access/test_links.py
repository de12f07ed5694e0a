"""No page leads its reader to an address that turns the reader away."""

from __future__ import annotations

import html
import re
from collections import Counter, deque
from urllib.parse import urljoin, urlsplit

import pytest
from django.urls import Resolver404, resolve

from tests.access.visitor import Visitor, undone
from tests.access.worlds import ROLES

pytestmark = pytest.mark.django_db

LINK = re.compile(r'<(?:a|img|iframe|object)\b[^>]*?\s(?:href|src|data)="([^"]+)"')
HERE = "http://testserver"
A_KIND = 1
"""So many addresses of one kind are followed."""
FILES = (".pdf", ".zip", ".csv", ".ics")
"""Files take long to make; whoever may have them is tried in `test_every_address`."""
NOT_FOLLOWED = ("/account/", "/static/", "/api/")


def links_on(page: str, text: str) -> list[str]:
    """Addresses of ours that a page names, without query and fragment."""
    found = []
    for said in LINK.findall(text):
        split = urlsplit(urljoin(HERE + page, html.unescape(said)))
        ours = f"{split.scheme}://{split.netloc}" == HERE
        if ours and not split.path.startswith(NOT_FOLLOWED) and not split.path.endswith(FILES):
            found.append(split.path)
    return found


def kind_of(path: str) -> str:
    """The name of its view."""
    try:
        return str(resolve(path).view_name)
    except Resolver404:
        return f"no address: {path}"


@pytest.mark.parametrize("role", ROLES)
def test_every_link_that_is_shown_opens(visitors: dict[str, Visitor], role: str):
    client = visitors[role].client
    waiting, followed, turned_away = deque([("/", "the start")]), Counter(), []
    seen = set()
    with undone():
        while waiting:
            address, shown_on = waiting.popleft()
            kind = kind_of(address)
            if address in seen or followed[kind] >= A_KIND:
                continue
            seen.add(address)
            followed[kind] += 1
            answer = client.get(address, follow=True)
            if answer.status_code >= 400:
                turned_away.append(f"{answer.status_code} {address}, shown on {shown_on}")
            elif not answer.streaming and "html" in answer.headers.get("Content-Type", ""):
                text = answer.content.decode()
                waiting.extend((link, address) for link in links_on(address, text))

    assert len(seen) > 5
    assert turned_away == []
