"""The history of every edit: who, when, from where, what it was and what it is."""

from __future__ import annotations

from datetime import timedelta

import pghistory
import pytest
from django.test import Client
from django.urls import reverse

from jobs.edits import edits_of, sources_of_crew, sources_of_job, sources_of_person
from jobs.history_context import task_begins, task_ends
from jobs.models import Absence, Crew
from tests.factories import A_MONDAY, CrewFactory, JobFactory, OperativeFactory, UserFactory

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
    assert (edit.who, edit.what) == (str(planner), f"Home {home.pk} changed")
    assert edit.place == f"/properties/{home.pk}/edit/ from 192.0.2.7"
    assert ("Town", home.town, "Elsewhere") in told
    assert ("Householder phone", "none", "0300 123456") in told
    page = client.get(reverse("job_edits", args=[job.pk])).content.decode()
    assert "Elsewhere" in page
    assert "from 192.0.2.7" in page


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
    edit = next(edit for edit in edits if edit.what == f"Job {job.pk} changed")

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
