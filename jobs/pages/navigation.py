"""The header's navigation, for every template, and the way from `/` to each role's home."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.functional import SimpleLazyObject

from jobs.models import Role, User
from jobs.pages.access import page_for
from jobs.pages.registry import attention_for, home_of, navigation_of


@dataclass(frozen=True, slots=True)
class Link:
    """A link of the header; `current` when its page, or one below it, is open."""

    url: str
    label: str
    current: bool
    count: int


def navigation(request: HttpRequest) -> dict[str, Any]:
    """Context processor: `navigation`, the header's links for who is signed in.

    Counted only where a header is drawn: most parts of a page are rendered by themselves.
    """
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    return {"navigation": SimpleLazyObject(lambda: links_for(user, request.path))}


def links_for(user: User, here: str) -> list[Link]:
    """The header's links with what waits behind each. here: the path that is open."""
    links = [(reverse(item.url_name), item.label, item.count) for item in navigation_of(user)]
    under = [url for url, _, _ in links if here.startswith(url)]
    current = max(under, key=len, default=None)
    return [
        Link(url, label, url == current, count(user) if count else 0) for url, label, count in links
    ]


@page_for(*Role)
def home(request: HttpRequest) -> HttpResponse:
    """Each role's own first page; a plain list of what needs a hand for one that has none."""
    try:
        return redirect(home_of(request.user))
    except KeyError:
        items = attention_for(request.user)
        return render(request, "jobs/home.html", {"items": items, "page_title": "Today"})


urlpatterns = [path("", home, name="home")]
