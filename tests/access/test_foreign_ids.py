"""Naming another's record is answered as naming one that does not exist: word for word.

Tried in queries that narrow a list, in what is created and edited over the API, and in forms.
Each related field of a serializer or filter is found by looking; a new one has to be given a
record in NAMED before this passes again.
"""

from __future__ import annotations

import inspect
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import django_filters
import pytest
from rest_framework import serializers
from rest_framework.test import APIRequestFactory

from tests.access import registry
from tests.access.addresses import Address
from tests.access.registry import (
    OF_ALL,
    OF_COMPANY,
    OF_FINDING,
    OF_JOB,
    OF_OTHER_JOB,
    OF_PLATFORM,
    OF_ROUND,
    OF_SCHEME,
    Eyes,
)
from tests.access.test_every_address import ENDPOINTS, PAGES
from tests.access.visitor import SEES, Answer, Visitor
from tests.access.worlds import ROLES, WORLDS, World

pytestmark = pytest.mark.django_db

MISSING = 2_000_000_000


@dataclass(frozen=True)
class Named:
    """What a field of this name names in a world: `path` leads from the World to the record."""

    path: str
    eyes: Eyes

    def of(self, world: World) -> int:
        record: Any = world
        for step in self.path.split("."):
            record = record[step] if isinstance(record, dict) else getattr(record, step)
        return int(record.pk)


NAMED: dict[str, Named] = {
    "after": Named("need", OF_COMPANY),
    "area": Named("reading.area", OF_OTHER_JOB),
    "assessment": Named("assessment", OF_JOB),
    "barred_crews": Named("crew", OF_COMPANY),
    "call_back": Named("booked_visit", OF_OTHER_JOB),
    # Both companies work under the scheme of the auditor, who alone names one.
    "company": Named("company", OF_ALL),
    "companies": Named("company", OF_PLATFORM),
    # An auditor names any crew that was booked under its scheme.
    "crew": Named("crew", {**OF_COMPANY, "auditor": SEES["auditor"]}),
    "depot": Named("depot", OF_COMPANY),
    "drawn_job": Named("drawn", OF_ROUND),
    "finding": Named("finding", OF_FINDING),
    "fixed_crew": Named("crew", OF_COMPANY),
    "item": Named("stock_item", OF_COMPANY),
    "job": Named("job", OF_JOB),
    "need": Named("need", OF_COMPANY),
    "operative": Named("operative", OF_COMPANY),
    "owner": Named("people.planner", OF_COMPANY),
    "preferred_crew": Named("crew", OF_COMPANY),
    "property": Named("home", OF_JOB),
    "reading": Named("measured", OF_JOB),
    "round": Named("round", OF_ROUND),
    "run": Named("run", OF_COMPANY),
    "scheme": Named("marked_scheme", OF_SCHEME),
    "shortfall": Named("shortfall", OF_OTHER_JOB),
    "surveyed_by": Named("people.surveyor", OF_COMPANY),
    "user": Named("people.installer", OF_COMPANY),
    "van": Named("van", OF_COMPANY),
    "visit": Named("booked_visit", OF_OTHER_JOB),
}


def named(name: str, where: object) -> Named:
    """What a field or filter names; `visit__job` names a job."""
    last = name.rpartition("__")[2]
    assert last in NAMED, (
        f"{where}: nobody said what {name!r} names. Add {last!r} to NAMED in "
        "tests/access/test_foreign_ids.py, with the record of a world and who sees it."
    )
    return NAMED[last]


def foreign(name: str, role: str, worlds: dict[str, World], where: object = "") -> list[int]:
    """Ids that a field of this name may not name for this person, in any world."""
    known = named(name, where)
    unseen = [world for world in WORLDS if world not in known.eyes.get(role, ())]
    return [known.of(worlds[world]) for world in unseen]


def strange(name: str, role: str, worlds: dict[str, World], where: object) -> list[int]:
    """Of those, ids of worlds that the person has no part in: no record it sees tells them."""
    known = named(name, where)
    unseen = [w for w in WORLDS if w not in SEES[role] | known.eyes.get(role, frozenset())]
    return [known.of(worlds[world]) for world in unseen]


def told(answer: Answer, ids: list[int]) -> tuple[int, str, str]:
    """An answer without the ids that were sent, and without what differs each time anyhow."""
    ids_sent = re.compile(rf"\b({'|'.join(str(each) for each in [*ids, MISSING])})\b")
    once = re.compile(
        r'"(csrfmiddlewaretoken" value=|X-CSRFToken": )"\w+"'
        r"|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"
        r"|/calendars/[\w-]{43}\.ics"
        r"|\d{4}-\d\d-\d\dT[\d:.]+(Z|\+[\d:]+)?"
    )
    location = answer.headers.get("Location", "")
    if answer.text.startswith(("%PDF-", "PK\x03\x04")):  # packed, with its time within
        return answer.status, "a paper", location
    return answer.status, ids_sent.sub("#", once.sub("", answer.text)), ids_sent.sub("#", location)


# --- Lists narrowed by an id


def filters_of(address: Address) -> dict[str, Any]:
    """The filters of a list that take a record's id."""
    view = address.view.cls()  # type: ignore[attr-defined]
    backends = getattr(view, "filter_backends", ())
    if getattr(address.view, "actions", {}).get("get") != "list":
        return {}
    model, _ = registry.list_at(address)
    found: dict[str, Any] = {}
    for backend in backends:
        filterset = backend().get_filterset_class(view, model._default_manager.all())
        found |= getattr(filterset, "base_filters", {})
    by_id = (django_filters.ModelChoiceFilter, django_filters.NumberFilter)
    return {name: each for name, each in found.items() if isinstance(each, by_id)}


FILTERED = [address for address in ENDPOINTS if filters_of(address)]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", FILTERED, ids=str)
def test_filter_tells_nothing_of_others(
    address: Address, role: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    for name in filters_of(address):
        for pk in strange(name, role, worlds, address):
            asked = visitors[role].ask("GET", f"{address.route}?{name}={pk}")
            nothing = visitors[role].ask("GET", f"{address.route}?{name}={MISSING}")
            assert told(asked, [pk]) == told(nothing, [pk]), f"{address}?{name}={pk}"


def test_filters_are_tried() -> None:
    assert len(FILTERED) >= 15


# --- Records named in what is created and edited


def serializers_of(address: Address) -> Iterator[type[serializers.BaseSerializer[Any]]]:
    """Every serializer that the module of an endpoint defines, but for mere shapes of answers."""
    module = sys.modules[address.view.cls.__module__]  # type: ignore[attr-defined]
    for _, kind in inspect.getmembers(module, inspect.isclass):
        if kind.__module__ != module.__name__ or kind.__name__.endswith("Out"):
            continue
        if issubclass(kind, serializers.Serializer):
            yield kind


def related_fields(kind: type[Any], role: str, worlds: dict[str, World]) -> dict[str, Any]:
    """The fields of a serializer by which a sender names records; nested ones are refused."""
    request = APIRequestFactory().post("/")
    request.user = worlds["own"].people[role]
    declares_model = hasattr(getattr(kind, "Meta", None), "model")
    if not declares_model and issubclass(kind, serializers.ModelSerializer):
        return {}
    fields = kind(context={"request": request}).fields
    for name, field in fields.items():
        nested = getattr(field, "child", field)
        if not field.read_only and isinstance(nested, serializers.BaseSerializer):
            inner = related_fields(type(nested), role, worlds)
            assert not inner, f"{kind.__name__}.{name} names records deeper: try them by hand."
    taken = (serializers.RelatedField, serializers.ManyRelatedField)
    return {n: f for n, f in fields.items() if isinstance(f, taken) and not f.read_only}


def named_in(address: Address, role: str, worlds: dict[str, World]) -> set[str]:
    return {name for kind in serializers_of(address) for name in related_fields(kind, role, worlds)}


WRITTEN = [address for address in ENDPOINTS if {"POST", "PATCH", "PUT"} & address.methods]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", WRITTEN, ids=str)
def test_naming_anothers_record_is_naming_nothing(
    address: Address, role: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    """Created and edited with ids of others in every field that takes one."""
    if role not in address.write_roles:
        assert visitors[role].ask("POST", address.route.replace("<pk>", "1")).status in (403, 404)
        return
    names = named_in(address, role, worlds)
    url = registry.url_in(address, worlds["own"])
    for world in WORLDS:
        sent = {
            name: NAMED[name].of(worlds[world])
            for name in names
            if world not in named(name, address).eyes.get(role, ())
        }
        missing = dict.fromkeys(sent, MISSING)
        for method in sorted({"POST", "PATCH", "PUT"} & address.methods):
            answer, nothing = (write(visitors[role], method, url, b) for b in (sent, missing))
            ids = list(sent.values())
            assert told(answer, ids) == told(nothing, ids), f"{method} {url} with {sent}"
            assert strictly_refused(address, method, sent, answer, role, worlds), answer.text


def write(visitor: Visitor, method: str, url: str, body: dict[str, int]) -> Answer:
    if method == "POST":
        return visitor.form(url, body)
    return visitor.ask(method, url, body, **{"If-Match": "*"})


def strictly_refused(
    address: Address,
    method: str,
    sent: dict[str, int],
    answer: Answer,
    role: str,
    worlds: dict[str, World],
) -> bool:
    """A create or edit says of each field that it takes that no such record exists."""
    view: Any = address.view
    action = getattr(view, "actions", {}).get(method.lower())
    if action not in ("create", "partial_update"):
        return True
    kind = getattr(view.cls, "intake_class", None) or view.cls.serializer_class
    fields = sent.keys() & related_fields(kind, role, worlds).keys()
    return not fields or (
        answer.status == 400 and all(f'"field":"{name}"' in answer.text for name in fields)
    )


def test_writes_are_tried() -> None:
    assert len(WRITTEN) >= 25


# --- Pages


@pytest.mark.parametrize("address", PAGES, ids=str)
def test_page_tells_nothing_of_ids_it_is_given(
    address: Address, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    """In the query and in the form: others' ids in every field that a page could have."""
    url = registry.url_in(address, worlds["own"])
    roles = [role for role in sorted(address.read_roles) if registry.sees(address, role, "own")]
    for role in roles[:1] if registry.names_records(address) else roles:
        sent = {name: ids[0] for name in NAMED if (ids := foreign(name, role, worlds))}
        missing = dict.fromkeys(sent, MISSING)
        ids = list(sent.values())
        for way in ("query", "form"):
            answer, nothing = (show(visitors[role], way, url, body) for body in (sent, missing))
            assert told(answer, ids) == told(nothing, ids), f"{way} of {url} as {role}"


def show(visitor: Visitor, way: str, url: str, body: dict[str, int]) -> Answer:
    return (
        visitor.form(url, body) if way == "form" else visitor.ask("GET", f"{url}?{urlencode(body)}")
    )
