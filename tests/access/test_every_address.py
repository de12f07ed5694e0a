"""Every address, tried by every role on its own records and on those of others.

A company sees its own; an installer what its crew is booked on; an auditor its own scheme's
jobs. Anything else is a 404, as if it did not exist. The addresses are read from the URL conf,
so a new one is tried here without anybody's doing.
"""

from __future__ import annotations

import re

import pytest

from tests.access import registry
from tests.access.addresses import ADDRESSES, SAFE, Address
from tests.access.figures import unrounded
from tests.access.visitor import EVERYBODY, Answer, Visitor, householders_told, strangers_told
from tests.access.worlds import SECRETS, WORLDS, World

pytestmark = pytest.mark.django_db

NOWHERE = "nowhere"
DECLARED = [address for address in ADDRESSES if address.name not in registry.OPEN]
PAGES = [address for address in DECLARED if not address.is_api]
ENDPOINTS = [address for address in DECLARED if address.is_api]
ANYBODYS = [address for address in ADDRESSES if address.name in registry.OPEN]

TAKEN = {200, 201, 202, 204, 302, 400, 409, 412, 415, 422, 428}
# Each role's own home, where it has one; endpoints that ask for two Seals, or for jobs; what the
# planning board asks about a visit that it names; pictures that a photo may not have yet.
OWN_ANSWERS = {
    "home": {200, 302},
    "api_consistency": {400},
    "evidence_pack": {302},
    "api_evidence_pack": {400},
    "planning_fit": {400},
    "planning_places": {400},
    "on_site_phone": {200, 401},
    **dict.fromkeys(("audit_photo_small", "audit_photo_large", "audit_photo_gauge"), {200, 204}),
}
# The version of a protocol that an endpoint wants to hear before it looks at anything.
SPOKEN = dict.fromkeys(("uploads", "upload"), {"Tus-Resumable": "1.0.0"})


def worlds_of(address: Address) -> tuple[str, ...]:
    """The worlds to try an address in; one is enough where it names no record."""
    try:
        return (*WORLDS, NOWHERE) if registry.names_records(address) else ("own",)
    except registry.Unknown:
        return ("own",)


def combinations(addresses: list[Address]) -> list[tuple[Address, str, str]]:
    return [
        (address, role, world)
        for address in addresses
        for role in EVERYBODY
        for world in worlds_of(address)
    ]


def trials(addresses: list[Address]) -> pytest.MarkDecorator:
    params = [
        pytest.param(address, role, world, id=f"{role} x {world} x {address}")
        for address, role, world in combinations(addresses)
    ]
    return pytest.mark.parametrize(("address", "role", "world"), params)


def url_of(address: Address, world: str, worlds: dict[str, World]) -> str:
    if world == NOWHERE:
        return registry.url_of_nothing(address, worlds["own"])
    return registry.url_in(address, worlds[world])


def sees(address: Address, role: str, world: str) -> bool:
    return world != NOWHERE and registry.sees(address, role, world)


def tells_only_own(address: Address, role: str, answer: Answer) -> None:
    """Whatever the answer is, it names nothing of a world that the person has no part in."""
    if (address.name, role) not in registry.TOLD_BY_OFFICE:
        assert strangers_told(answer, role) == [], f"{address} tells of others' records"
    assert role != "auditor" or not householders_told(answer), f"{address} names a householder"


@trials(PAGES)
def test_page(
    address: Address,
    role: str,
    world: str,
    worlds: dict[str, World],
    visitors: dict[str, Visitor],
) -> None:
    """Strangers are sent to sign in, and what they send is not taken; whoever may not gets a 404;
    whoever may gets the page."""
    visitor, url = visitors[role], url_of(address, world, worlds)
    welcome = role in address.read_roles and sees(address, role, world)
    taken = set()
    for method in page_methods(address, role, world):
        answer = visitor.ask(method, url)
        told = f"{method} {url} gave {answer.status}"
        if role == "anonymous":
            stopped = answer.leads_to_sign_in if method == "GET" else answer.status == 401
            assert stopped or answer.status == 405, told
        elif not welcome:
            assert answer.status in (404, 405), told
        elif method == "GET" and answer.status != 405:
            assert answer.status in OWN_ANSWERS.get(address.name, {200}), told
            assert unrounded(answer) == [], told
        else:
            assert answer.status in TAKEN | {405} and not answer.leads_to_sign_in, told
        tells_only_own(address, role, answer)
        taken.add(answer.status)
        if welcome and world != "own" and answer.status != 405:
            break  # tried in full in the own world
    assert taken != {405}, f"{url} takes neither GET nor POST"


def page_methods(address: Address, role: str, world: str) -> tuple[str, ...]:
    """Every method where a view is reached with a record that is not this person's.

    Who is stopped at the door is stopped whatever the record: one method does beside the own.
    """
    if role in address.read_roles and not sees(address, role, world):
        return ("GET", "POST", "PUT", "PATCH", "DELETE")
    return ("GET", "POST") if role in address.read_roles or world == "own" else ("POST",)


@trials(ENDPOINTS)
def test_endpoint(
    address: Address,
    role: str,
    world: str,
    worlds: dict[str, World],
    visitors: dict[str, Visitor],
) -> None:
    """401 for strangers, 404 for others' records, 403 for a reader who would write."""
    visitor, url = visitors[role], url_of(address, world, worlds)
    for method in endpoint_methods(address, role, world):
        answer = visitor.ask(method, url, **SPOKEN.get(address.name, {}))
        told = f"{method} {url} gave {answer.status}: {answer.text[:200]}"
        assert answer.status in expected(address, method, role, world), told
        tells_only_own(address, role, answer)


def endpoint_methods(address: Address, role: str, world: str) -> tuple[str, ...]:
    """Every method; beside the own world one where nothing differs: at the door, or if seen."""
    stopped = role not in address.read_roles | address.write_roles
    if world != "own" and (stopped or sees(address, role, world)):
        return ("GET",) if "GET" in address.methods else ("POST",)
    return ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")


def expected(address: Address, method: str, role: str, world: str) -> set[int]:
    """The statuses an endpoint may answer with, from what it declares and whose the record is."""
    if role == "anonymous":
        return {401}
    if role not in address.read_roles | address.write_roles:
        return {404}
    if role not in (address.read_roles if method in SAFE else address.write_roles):
        return {403}
    if method not in address.methods:
        return {405}
    if method == "OPTIONS":
        return {200}
    if not sees(address, role, world):
        return {404}
    return OWN_ANSWERS.get(address.name, {200}) if method in SAFE else TAKEN


@trials(ANYBODYS)
def test_open_address(
    address: Address,
    role: str,
    world: str,
    worlds: dict[str, World],
    visitors: dict[str, Visitor],
) -> None:
    """Answers everybody, and names no person and no home of any world but by its secret."""
    answer = visitors[role].ask("GET", url_of(address, world, worlds))
    usual = OWN_ANSWERS.get(address.name, {200, 302, 405})
    assert answer.status in ({404} if world == NOWHERE else usual)
    told = re.sub(r"(Invented Lofts|Warm Trial|Cold Trial) \w+", "", answer.text)
    own = {SECRETS["own"]} if role != "anonymous" else set()  # one's own name in the header
    if address.name in registry.BY_SECRET and world != NOWHERE:
        own = own | {SECRETS[world]}
    assert [secret for secret in SECRETS.values() if secret in told and secret not in own] == []
    assert not householders_told(answer)
