"""Where areas of the product add themselves to pages they share: navigation, homes, the story.

`jobs` and `compliance` register from their AppConfig.ready; no shared page imports them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from jobs.models import Job, User


@dataclass(frozen=True, slots=True)
class NavigationItem:
    """A link in the header. `count`, where given, says how much waits there (0 shows nothing)."""

    label: str
    url_name: str
    roles: frozenset[str]
    order: int
    count: Callable[[User], int] | None = None


@dataclass(frozen=True, slots=True)
class Attention:
    """One thing that needs a hand today: how many, a sentence, where to go.

    `urgency`: "now" (late, short, stopped), "soon", or "calm".
    """

    count: int
    sentence: str
    url: str
    urgency: str = "soon"

    @property
    def urgent(self) -> bool:
        return self.urgency == "now"


@dataclass(frozen=True, slots=True)
class StorySection:
    """A part of a job's page. `build` gives the template's context, or None to leave it out."""

    key: str
    title: str
    order: int
    template: str
    build: Callable[[Job, User], dict[str, Any] | None]


_navigation: list[NavigationItem] = []
_sections: dict[str, StorySection] = {}
_attention: list[tuple[frozenset[str], Callable[[User], list[Attention]]]] = []
_homes: dict[str, str] = {}


def register_navigation(item: NavigationItem) -> None:
    _navigation.append(item)


def register_story_section(section: StorySection) -> None:
    _sections[section.key] = section


def register_attention(roles: frozenset[str], source: Callable[[User], list[Attention]]) -> None:
    _attention.append((roles, source))


def register_home(role: str, url_name: str) -> None:
    _homes[role] = url_name


def navigation_of(user: User) -> list[NavigationItem]:
    mine = [item for item in _navigation if user.role in item.roles]
    return sorted(mine, key=lambda item: item.order)


def attention_for(user: User) -> list[Attention]:
    """What needs a hand, most urgent first; nothing that counts zero."""
    order = {"now": 0, "soon": 1, "calm": 2}
    found = [
        item
        for roles, source in _attention
        if user.role in roles
        for item in source(user)
        if item.count
    ]
    return sorted(found, key=lambda item: order[item.urgency])


def story_of(job: Job, user: User) -> list[tuple[StorySection, dict[str, Any]]]:
    """The sections of a job's page from top to bottom, each with its context."""
    built = [
        (section, section.build(job, user))
        for section in sorted(_sections.values(), key=lambda section: section.order)
    ]
    return [(section, context) for section, context in built if context is not None]


def rendered_story(job: Job, request: HttpRequest) -> list[tuple[StorySection, str]]:
    """The sections of a job's page, each with its markup."""
    return [
        (section, render_to_string(section.template, {**context, "job": job}, request))
        for section, context in story_of(job, request.user)  # type: ignore[arg-type]
    ]


def home_of(user: User) -> str:
    """The URL name of the page a person starts on."""
    return _homes[user.role]
