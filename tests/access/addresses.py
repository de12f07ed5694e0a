"""Every address of the service, read from the URL conf itself, and what each declares."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib.admindocs.views import simplify_regex
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RoutePattern

from jobs.api.permissions import ByRole

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
SAFE = ("GET", "HEAD", "OPTIONS")
PLACEHOLDER = re.compile(r"<(?:\w+:)?(\w+)>")


@dataclass(frozen=True)
class Address:
    """One URL pattern. `route` is readable, with a placeholder `<name>` for each argument."""

    route: str
    name: str
    view: Callable[..., Any]

    def __str__(self) -> str:
        return self.route

    @property
    def arguments(self) -> list[str]:
        return PLACEHOLDER.findall(self.route)

    @cached_property
    def is_api(self) -> bool:
        return hasattr(self.view, "cls")

    @cached_property
    def is_open(self) -> bool:
        """Whether its code says that anybody may come, or says nothing at all."""
        if self.is_api:
            gates = self._of_view("permission_classes") or ()
            return not any(isinstance(g, type) and issubclass(g, ByRole) for g in gates)
        return getattr(self.view, "roles", None) is None

    @cached_property
    def read_roles(self) -> frozenset[str]:
        return frozenset(self._of_view("read_roles") if self.is_api else self.view.roles)  # type: ignore[attr-defined]

    @cached_property
    def write_roles(self) -> frozenset[str]:
        return frozenset(self._of_view("write_roles") if self.is_api else self.view.roles)  # type: ignore[attr-defined]

    @cached_property
    def methods(self) -> frozenset[str]:
        """What an endpoint takes. Pages do not say; they are asked."""
        if not self.is_api:
            return frozenset(METHODS)
        taken = getattr(self.view, "actions", None) or {
            m.lower(): m
            for m in METHODS
            if hasattr(self.view.cls, m.lower())  # type: ignore[attr-defined]
        }
        names = {method.upper() for method in taken} | {"OPTIONS"}
        return frozenset(names | ({"HEAD"} if "GET" in names else set()))

    def _of_view(self, attribute: str) -> Any:
        """A declaration on the class, or on the action, which has the last word."""
        view: Any = self.view
        given = getattr(view, "initkwargs", {})
        return given.get(attribute, getattr(view.cls, attribute, None))


def addresses_of(resolver: URLResolver, before: str = "/") -> Iterator[Address]:
    for entry in resolver.url_patterns:
        route = before + readable(entry)
        if isinstance(entry, URLResolver):
            yield from addresses_of(entry, route)
        else:
            yield Address(route, entry.name or "", entry.callback)


def readable(entry: URLPattern | URLResolver) -> str:
    """`jobs/<int:pk>/` and `^jobs/(?P<pk>[^/.]+)/$` both as `jobs/<pk>/`."""
    text = str(entry.pattern)
    if not isinstance(entry.pattern, RoutePattern):
        text = simplify_regex(text).removeprefix("/")
    return PLACEHOLDER.sub(r"<\1>", text)


ADDRESSES = sorted(addresses_of(get_resolver()), key=lambda address: address.route)
