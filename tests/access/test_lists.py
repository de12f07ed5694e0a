"""What lists of the API give: what the person may see, all of it, and nothing else."""

from __future__ import annotations

import json
from typing import Any

import pytest

from jobs.models import Job, Property
from tests.access import registry
from tests.access.addresses import ADDRESSES, Address
from tests.access.visitor import Visitor
from tests.access.worlds import ROLES, SECRETS, WORLDS, World

pytestmark = pytest.mark.django_db

LISTS = [a for a in ADDRESSES if getattr(a.view, "actions", {}).get("get") == "list"]


def ids_in(visitor: Visitor, url: str) -> list[int]:
    """The ids of all pages of a list."""
    found: list[int] = []
    next_page: str | None = f"{url}?page_size=500"
    while next_page:
        answer = visitor.ask("GET", next_page)
        assert answer.status == 200, answer.text
        body = json.loads(answer.text)
        found += [row["id"] for row in body["results"]]
        next_page = body["next"]
    return found


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("address", LISTS, ids=str)
def test_list_gives_what_may_be_seen(
    address: Address, role: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    if role not in address.read_roles:
        assert visitors[role].ask("GET", address.route).status in (403, 404)
        return
    model, eyes = registry.list_at(address)
    listed = set(ids_in(visitors[role], address.route))
    seen = [world for world in WORLDS if world in eyes.get(role, ())]
    allowed = {
        world: open_to(role, worlds[world], eyes, made_in(worlds[world], model, eyes), model)
        for world in seen
    }
    everything = set().union(*(made_in(worlds[world], model, eyes) for world in WORLDS))
    assert listed & everything <= set().union(*allowed.values())
    for world in seen:
        assert listed & allowed[world], f"{address} has nothing of {world}"
    assert set().union(*allowed.values()) - without_visit(model, role) <= listed


def open_to(
    role: str, world: World, eyes: registry.Eyes, ids: set[int], model: type[Any]
) -> set[int]:
    """Of what was written for a world, an auditor sees what belongs to its audited job."""
    if role != "auditor" or eyes is not registry.OF_JOB:
        return ids
    path = {Job: "pk", Property: "jobs"}.get(model) or model.objects.all().job_path
    return set(
        model.objects.filter(pk__in=ids, **{path: world.job.pk}).values_list("pk", flat=True)
    )


def without_visit(model: type[Any], role: str) -> set[int]:
    """Jobs and homes that no crew was ever sent to, which installers have no business with."""
    if role != "installer" or model not in (Job, Property):
        return set()
    path = "visits" if model is Job else "jobs__visits"
    return set(model.objects.filter(**{f"{path}__isnull": True}).values_list("pk", flat=True))


def made_in(world: World, model: type[Any], eyes: registry.Eyes) -> set[int]:
    """The ids of what was written for a world. Schemes and companies are shared by several."""
    if eyes is registry.OF_SCHEME:
        return {world.marked_scheme.pk}
    if eyes is registry.OF_PLATFORM:
        return {world.company.pk}
    if eyes is registry.OF_PEOPLE:  # a planner keeps the accounts of its company alone
        return {person.pk for person in world.people.values() if person.company_id}
    return world.made[model]


def test_lists_are_tried() -> None:
    assert len(LISTS) >= len(registry.LISTS)
    assert {registry.list_at(address)[0].__name__ for address in LISTS} == {
        name for name, _ in registry.LISTS.values()
    }


# The pages that list records, with the attribute of a world that each has a row of.
PAGES_OF_ROWS = [
    ("/desk/", ("planner",)),
    ("/week/", ("planner", "surveyor")),
    ("/visits/crews/", ("planner",)),
    ("/jobs/", ("planner", "surveyor", "compliance_officer", "auditor")),
    ("/visits/", ("planner", "surveyor")),
    ("/crews/", ("planner", "surveyor")),
    ("/depots/", ("planner", "surveyor")),
    ("/intake/", ("planner",)),
    ("/people/", ("planner",)),
    ("/survey/", ("surveyor", "planner")),
    ("/on-site/", ("installer",)),
    ("/proof/verdicts/", ("planner", "compliance_officer")),
    ("/proof/shortfalls/", ("planner", "compliance_officer")),
    ("/proof/certificates/", ("planner", "compliance_officer")),
    ("/findings/", ("planner", "compliance_officer")),
    ("/audit/", ("auditor",)),
]


@pytest.mark.parametrize(("url", "roles"), PAGES_OF_ROWS, ids=[url for url, _ in PAGES_OF_ROWS])
def test_page_of_rows_shows_every_world_that_may_be_seen(
    url: str, roles: tuple[str, ...], visitors: dict[str, Visitor]
) -> None:
    """Without this, a page that shows nobody anything would pass for one that keeps secrets."""
    for role in roles:
        text = visitors[role].ask("GET", f"{url}?show=past").text
        text += visitors[role].ask("GET", url).text
        shown = {world for world in WORLDS if SECRETS[world] in text}
        assert shown == registry.OF_JOB[role], f"{url} as {role}"
