"""No address is forgotten: each says who may come, each argument has a record to be tried with."""

from __future__ import annotations

import pytest
from django.contrib.admindocs.views import extract_views_from_urlpatterns
from django.http import HttpRequest, HttpResponse
from django.urls import get_resolver, resolve
from rest_framework.permissions import AllowAny
from rest_framework.views import APIView

from jobs.models import Role
from jobs.pages.access import page_for
from tests.access import registry, test_every_address
from tests.access.addresses import ADDRESSES, Address
from tests.access.visitor import EVERYBODY
from tests.access.worlds import WORLDS, World

FEWEST_ADDRESSES = 150
FEWEST_TRIALS = 3500


def says_who_may_come(address: Address) -> None:
    """Raises AssertionError with what to do unless an address is declared, or listed as open."""
    if address.name in registry.OPEN:
        assert address.is_open, (
            f"{address} ({address.name}) is declared for certain roles: take it out of OPEN in "
            "tests/access/registry.py."
        )
        return
    assert not address.is_open, (
        f"{address} ({address.name or 'without a name'}) doesn't say who may come. A page: "
        "declare it with @page_for(Role...) of jobs/pages/access.py. An endpoint: give it "
        "read_roles and write_roles, and leave its permission to ByRole. Only if anybody at "
        "all may come: @open_page, and a line with the reason in OPEN of "
        "tests/access/registry.py."
    )
    roles = address.read_roles | address.write_roles
    assert roles, f"{address}: nobody may come at all."
    assert roles <= set(Role), f"{address}: names a role that there is not."


@pytest.mark.parametrize("address", ADDRESSES, ids=str)
def test_says_who_may_come(address: Address) -> None:
    says_who_may_come(address)


@pytest.mark.parametrize("address", ADDRESSES, ids=str)
def test_arguments_are_known(address: Address) -> None:
    """Raises, with what to do, for an argument that nobody gave a record for."""
    assert set(registry.things_at(address)) == set(address.arguments)


@pytest.mark.parametrize("address", test_every_address.DECLARED, ids=str)
def test_somebody_sees_and_somebody_does_not(address: Address) -> None:
    """A record is seen by one of the roles that may come, and not by everybody in every world."""
    if registry.names_records(address):
        roles = address.read_roles | address.write_roles
        assert any(registry.sees(address, role, "own") for role in roles)
        assert not all(registry.sees(address, role, w) for role in EVERYBODY for w in WORLDS)


@pytest.mark.django_db
def test_tried_address_leads_to_its_view(worlds: dict[str, World]) -> None:
    """No address hides another: what is tried is the view that the URL conf names there."""
    for address in ADDRESSES:
        assert resolve(registry.url_in(address, worlds["own"])).func == address.view, address


def test_no_address_is_left_out() -> None:
    """As many as Django's own documentation of the URL conf lists."""
    known = {(view, name) for view, _, _, name in listed_by_django()}
    assert len(ADDRESSES) == len(list(listed_by_django()))
    assert {(address.view, address.name) for address in ADDRESSES} == known
    assert len(ADDRESSES) >= FEWEST_ADDRESSES


def listed_by_django() -> list[tuple[object, str, object, str]]:
    return extract_views_from_urlpatterns(get_resolver().url_patterns)


def test_each_is_tried_by_each_role_in_each_world() -> None:
    """Every address x role x world is a test of its own."""
    tried = [
        param.values
        for test in ("test_page", "test_endpoint", "test_open_address")
        for mark in getattr(test_every_address, test).pytestmark
        if mark.name == "parametrize"
        for param in mark.args[1]
    ]
    wanted = {
        (address, role, world)
        for address in ADDRESSES
        for role in EVERYBODY
        for world in (WORLDS if registry.names_records(address) else WORLDS[:1])
    }
    assert wanted <= set(tried)
    assert len(tried) == len(set(tried)) >= FEWEST_TRIALS


def test_open_list_names_only_what_there_is() -> None:
    assert registry.OPEN.keys() <= {address.name for address in ADDRESSES}


def test_registry_names_only_what_there_is() -> None:
    """A record that no address asks for any more is taken out of the registry."""
    used = [thing for address in ADDRESSES for thing in registry.things_at(address).values()]
    unused = [end for end, thing in registry.THINGS.items() if not any(thing is u for u in used)]
    assert unused == []
    assert {route for route, _ in registry.AT} <= {address.route for address in ADDRESSES}


# --- The checks above notice what they are for


def undeclared(request: HttpRequest) -> HttpResponse:
    return HttpResponse()


class Unguarded(APIView):
    permission_classes = (AllowAny,)


@pytest.mark.parametrize("view", [undeclared, Unguarded.as_view()], ids=["page", "endpoint"])
def test_an_undeclared_address_is_told(view: object) -> None:
    with pytest.raises(AssertionError, match="doesn't say who may come"):
        says_who_may_come(Address("/new/", "new", view))  # type: ignore[arg-type]


def test_a_listed_address_that_is_declared_is_told() -> None:
    view = page_for(Role.PLANNER)(undeclared)
    with pytest.raises(AssertionError, match="take it out of OPEN"):
        says_who_may_come(Address("/health/", "health", view))


def test_an_unknown_argument_is_told() -> None:
    with pytest.raises(registry.Unknown, match="'tanks/<tank_pk>' to THINGS"):
        registry.thing_at(Address("/tanks/<tank_pk>/", "tank", undeclared), "tank_pk")
