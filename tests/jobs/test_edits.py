"""The history of every edit: who, when, from where, what it was and what it is."""

from __future__ import annotations

from datetime import timedelta

import pghistory
import pytest
from django.test import Client
from django.urls import reverse

from jobs.edits import (
    edits_of,
    sources_of_crew,
    sources_of_job,
    sources_of_person,
    sources_of_scheme,
)
from jobs.history import label_of
from jobs.history_context import task_begins, task_ends
from jobs.models import Absence, Crew, Depot, VisitNeed
from tests.factories import (
    A_MONDAY,
    CompanyFactory,
    CrewFactory,
    JobFactory,
    OperativeFactory,
    SchemeFactory,
    UserFactory,
    VanFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


class ATask:
    name = "jobs.tasks.quantify_job"


def test_an_edit_tells_who_made_it_from_where_and_each_value(client: Client):
    job = JobFactory()
    planner = UserFactory(role="planner", company=job.company)
    home = job.property
    client.force_login(planner)
    given = {
        "reference": home.reference,
        "address_line_1": home.address_line_1,
        "town": "Elsewhere",
        "postcode": home.postcode,
        "nation": home.nation,
        "householder_phone": "0300 123456",
    }

    client.post(reverse("property_edit", args=[home.pk]), given, REMOTE_ADDR="192.0.2.7")

    edit = edits_of(sources_of_job(job), planner)[0]
    told = {(change.label, change.was, change.now) for change in edit.changes}
    assert (edit.who, edit.what) == (str(planner), f"Home “{home.reference}” changed")
    assert edit.place == f"/properties/{home.pk}/edit/ from 192.0.2.7"
    assert ("Town", home.town, "Elsewhere") in told
    assert ("Householder phone", "none", "0300 123456") in told
    page = client.get(reverse("job_edits", args=[job.pk])).content.decode()
    assert "Elsewhere" in page
    assert "from 192.0.2.7" in page


def test_a_field_is_named_with_its_unit_as_it_is_written():
    named = [label_of(VisitNeed._meta.get_field(name)) for name in ("volume_m3", "crew_size")]
    assert named == ["Volume, m³", "Crew size"]


def test_a_household_is_not_told_to_whoever_reads_evidence_only():
    job = JobFactory()
    job.property.householder_phone = "0300 123456"
    job.property.save()
    auditor = UserFactory(role="auditor", scheme=job.scheme)

    said = repr(edits_of(sources_of_job(job), auditor))

    assert "0300 123456" not in said
    assert "not told" in said


def test_a_crew_tells_of_its_people_and_of_absences_taken_back():
    crew = CrewFactory()
    operative = OperativeFactory(company=crew.company, crew=crew, name="Kit Invented")
    planner = UserFactory(role="planner", company=crew.company)
    Crew.objects.filter(pk=crew.pk).update(name="Crew Renamed")
    with pghistory.context(user=planner.pk):
        absence = Absence.objects.create(
            company=crew.company,
            operative=operative,
            during=(A_MONDAY, A_MONDAY + timedelta(hours=8)),
        )
        absence.delete()

    edits = edits_of(sources_of_crew(crew), planner)

    assert edits[0].what.endswith("taken back")
    assert edits[0].who == str(planner)
    assert any(change.now == "Crew Renamed" for edit in edits for change in edit.changes)
    assert any("Operative" in edit.what for edit in edits)


def test_what_a_task_changes_is_told_as_the_tasks():
    job = JobFactory()
    task_begins(task_id="one", task=ATask())
    try:
        job.stage = "to_quantify"
        job.save(update_fields=["stage"])
    finally:
        task_ends(task_id="one")

    edits = edits_of(sources_of_job(job), UserFactory(role="planner", company=job.company))
    edit = next(edit for edit in edits if edit.what == f"Job {job.reference} changed")

    assert edit.place == "the task quantify job"
    assert edit.who == "Eavesbook"


def test_an_account_tells_who_changed_it():
    person = UserFactory(role="surveyor")
    admin = UserFactory(role="platform_admin")
    with pghistory.context(user=admin.pk):
        person.first_name = "Another"
        person.save()

    edit = edits_of(sources_of_person(person), admin)[0]

    assert (edit.who, edit.changes[0].now) == (str(admin), "Another")


def test_each_record_of_the_office_tells_its_edits_on_a_page(client: Client):
    """Made through the pages a planner uses; told in words, with who and from where."""
    planner = UserFactory(role="planner")
    company = planner.company
    client.force_login(planner)
    van = VanFactory(company=company, name="Van One")
    depot = Depot.objects.create(company=company, name="Yard", nation="england")
    client.post(
        reverse("van_edit", args=[van.pk]),
        {"name": "Van Renamed", "load_volume_m3": "9", "version": van.version},
    )
    client.patch(
        f"/api/v1/depots/{depot.pk}/",
        {"name": "Yard Renamed"},
        content_type="application/json",
        headers={"If-Match": client.get(f"/api/v1/depots/{depot.pk}/")["ETag"]},
    )
    client.post(reverse("office"), {"office_phone": "0300 654321", "version": company.version})

    told = {
        "yard_edits": ("Van “Van Renamed” changed", "Van One → Van Renamed"),
        "depot_edits": ("Depot “Yard Renamed” changed", "Yard → Yard Renamed"),
        "company_edits": (f"Company “{company.name}” changed", "none → 0300 654321"),
    }
    for name, said in told.items():
        arguments = [company.pk] if name == "company_edits" else []
        page = client.get(reverse(name, args=arguments)).content.decode()
        for words in (*said, str(planner), "127.0.0.1"):
            assert words in page, (name, words)


def test_who_works_under_a_scheme_and_who_goes_on_a_visit_have_a_history():
    scheme, admin = SchemeFactory(), UserFactory(role="platform_admin")
    company = CompanyFactory(name="Invented Warmth")
    with pghistory.context(user=admin.pk):
        scheme.companies.add(company)
        scheme.companies.remove(company)
    visit = VisitFactory()
    operative = OperativeFactory(company=visit.company, name="Kit Invented")
    visit.visit_operatives.create(operative=operative)

    gone, came = edits_of(sources_of_scheme(scheme), admin)[:2]
    assert (came.what, gone.what) == ("Company under it recorded", "Company under it taken back")
    assert "Invented Warmth" in repr(gone.changes)
    assert gone.who == str(admin)
    planner = UserFactory(role="planner", company=visit.company)
    auditor = UserFactory(role="auditor", scheme=visit.job.scheme)
    assert "Kit Invented" in repr(edits_of(sources_of_job(visit.job), planner))
    assert "Kit Invented" not in repr(edits_of(sources_of_job(visit.job), auditor))
