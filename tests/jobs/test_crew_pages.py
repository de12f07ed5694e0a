"""Crews, operatives and vans by page."""

from __future__ import annotations

import pytest

from jobs.models import Crew, Operative, Van
from tests.factories import CrewFactory, OperativeFactory, VanFactory
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db
CREW = {
    "name": "North",
    "day_starts_at": "08:00",
    "day_ends_at": "16:30",
    "works_on": ["1", "2", "3", "4", "5"],
    "nation": "england",
    "break_minutes": "30",
    "break_earliest": "11:30",
    "break_latest": "14:00",
    "overtime_minutes": "0",
    "is_active": "on",
}
VAN = {"name": "Ash", "load_volume_m3": "11"}
OPERATIVE = {"name": "Alex Ames", "skills": ["insulation"]}
KINDS = [
    ("crews", Crew, CrewFactory, CREW),
    ("vans", Van, VanFactory, VAN),
    ("operatives", Operative, OperativeFactory, OPERATIVE),
]


@pytest.mark.parametrize(("kind", "model", "factory", "typed"), KINDS)
def test_one_is_added(kind, model, factory, typed):
    office = an_office()

    answer = signed_in(office.planner).post(f"/{kind}/new/", typed)

    assert answer.headers["Location"] == "/crews/"
    assert (model.objects.get().company, model.objects.get().name) == (
        office.company,
        typed["name"],
    )


@pytest.mark.parametrize(("kind", "model", "factory", "typed"), KINDS)
def test_one_is_edited_and_a_late_edit_refused(kind, model, factory, typed):
    office = an_office()
    record = factory(company=office.company)
    client, url = signed_in(office.planner), f"/{kind}/{record.pk}/"

    client.post(url, typed | {"version": 1})
    late = client.post(url, typed | {"version": 1, "name": "Late"})

    assert "was changed by someone else" in str(late.context["form"].errors)
    assert (model.objects.get(pk=record.pk).name, model.objects.get(pk=record.pk).version) == (
        typed["name"],
        2,
    )


@pytest.mark.parametrize(("kind", "model", "factory", "typed"), KINDS)
def test_they_are_the_planners_own(kind, model, factory, typed):
    office, foreign = an_office(), factory()

    assert signed_in(office.planner).get(f"/{kind}/{foreign.pk}/").status_code == 404
    assert signed_in(office.planner).post(f"/{kind}/{foreign.pk}/", typed).status_code == 404
    for role in ("surveyor", "installer", "compliance_officer"):
        assert signed_in(office.person(role)).get(f"/{kind}/new/").status_code == 404


@pytest.mark.parametrize(
    ("kind", "typed", "field", "said"),
    [
        ("crews", CREW | {"name": "Taken"}, "name", "you have a crew of this name already"),
        ("crews", CREW | {"day_ends_at": "07:00"}, "day_ends_at", "ends before it starts"),
        ("crews", CREW | {"works_on": []}, "works_on", "Choose"),
        ("crews", CREW | {"break_latest": "10:00"}, "break_latest", "before it may"),
        ("crews", CREW | {"base_latitude_deg": "52.6"}, "base_longitude_deg", "Half a position"),
        ("crews", CREW | {"base_latitude_deg": "12"}, "base_latitude_deg", "At least"),
        ("vans", VAN | {"load_volume_m3": "0"}, "load_volume_m3", "At least"),
        ("operatives", OPERATIVE | {"skills": ["flying"]}, "skills", "valid choice"),
        ("operatives", OPERATIVE | {"crew": "0"}, "crew", "valid choice"),
    ],
)
def test_a_wrong_value_is_told_at_its_field(kind, typed, field, said):
    office = an_office()
    CrewFactory(company=office.company, name="Taken")

    answer = signed_in(office.planner).post(f"/{kind}/new/", typed)

    assert said.lower() in " ".join(answer.context["form"].errors[field]).lower()


def test_a_second_lead_of_a_crew_is_refused():
    office = an_office()
    crew = CrewFactory(company=office.company)
    OperativeFactory(company=office.company, crew=crew, leads_crew=True)

    answer = signed_in(office.planner).post(
        "/operatives/new/", OPERATIVE | {"crew": crew.pk, "leads_crew": "on"}
    )

    assert "already has a lead" in str(answer.context["form"].errors)


def test_crews_vans_and_sign_ins_of_others_cannot_be_chosen():
    office = an_office()
    client = signed_in(office.planner)
    stranger = an_office().person("installer")

    assert (
        "van" in client.post("/crews/new/", CREW | {"van": VanFactory().pk}).context["form"].errors
    )
    for field, pk in (
        ("crew", CrewFactory().pk),
        ("user", stranger.pk),
        ("user", office.planner.pk),
    ):
        answer = client.post("/operatives/new/", OPERATIVE | {field: pk})
        assert field in answer.context["form"].errors


def test_the_list_shows_who_there_is_in_few_queries(django_assert_max_num_queries):
    office = an_office()
    for number in range(3):
        crew = office.crew("insulation", name=f"Crew {number}", van=office.van())
        OperativeFactory(company=office.company, crew=crew, user=office.person("installer"))
    OperativeFactory(company=office.company, crew=None, name="Between crews")
    foreign = CrewFactory(name="Not ours")
    client = signed_in(office.planner)

    with django_assert_max_num_queries(14):
        page = client.get("/crews/").content.decode()

    assert "Between crews" in page
    assert "Loft insulation" in page
    assert foreign.name not in page


def test_a_surveyor_looks_and_edits_nothing():
    office = an_office()
    crew = office.crew()

    page = signed_in(office.person("surveyor")).get("/crews/").content.decode()

    assert crew.name in page
    assert "Edit crew" not in page
