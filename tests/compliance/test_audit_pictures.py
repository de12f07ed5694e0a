"""Pictures and report of audits: what is counted, and for whose eyes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from compliance.audits.pictures import crews_compared, pictures_for
from compliance.audits.read_jobs import read_jobs, weighted
from compliance.audits.report import report_contents
from compliance.audits.rounds import commit_round
from jobs.errors import Conflict
from tests.compliance.audit_scene import ReadRound, read_round
from tests.compliance.audited import let_auditors_see
from tests.compliance.test_audit_rounds import terms
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(django_db_setup: None, django_db_blocker: Any) -> Iterator[ReadRound]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield read_round()
        transaction.set_rollback(True)


def figures(answer: object) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(answer.content.decode())))  # type: ignore[attr-defined]


def test_the_auditor_sees_every_crew_with_the_figures_behind(client: Client, scene: ReadRound):
    client.force_login(scene.auditor)
    base = f"/audit/rounds/{scene.record.pk}/pictures/"

    page = client.get(base)
    rows = figures(client.get(f"{base}crews.csv"))

    assert page.status_code == 200
    for crew in scene.crews:
        assert crew.name in page.content.decode()
    assert {(row["crew"].split(": ")[-1], row["jobs_read"], row["defective"]) for row in rows} == {
        (scene.crews[0].name, "1", "1"),
        (scene.crews[1].name, "1", "0"),
        (scene.crews[2].name, "1", "1"),
    }
    assert client.get(f"{base}nothing.csv").status_code == 404


def test_a_company_sees_its_own_crews_alone(client: Client, scene: ReadRound):
    client.force_login(scene.officer)

    page = client.get("/findings/pictures/").content.decode()
    rows = figures(client.get("/findings/pictures/crews.csv"))

    assert {row["crew"] for row in rows} == {crew.name for crew in scene.crews[:2]}
    assert scene.crews[2].name not in page
    assert scene.jobs[2].reference not in client.get("/findings/pictures/map.csv").content.decode()


def test_a_stranger_to_the_scheme_sees_nothing(client: Client, scene: ReadRound):
    client.force_login(UserFactory(role="auditor"))

    assert client.get(f"/audit/rounds/{scene.record.pk}/pictures/").status_code == 404
    assert client.get(f"/audit/rounds/{scene.record.pk}/report.pdf").status_code == 404
    assert "Nothing was read yet" in client.get("/audit/pictures/").content.decode()


def test_the_depths_are_those_of_the_verdicts(scene: ReadRound):
    depths = next(p for p in pictures_for(scene.auditor, scene.record) if p.key == "depths")

    readings = scene.jobs[0].assessments.get().inputs["readings"]
    of_job = [row for row in depths.data.rows if row[1] == scene.jobs[0].reference]
    assert sorted(row[2] for row in of_job) == sorted(r["depth_mm"] for r in readings)
    assert {row[3] for row in of_job} == {270.0}


def test_the_map_tells_places_to_a_kilometre_only(scene: ReadRound):
    home = scene.jobs[0].property
    home.latitude_deg, home.longitude_deg = 52.123456, -1.654321
    home.save()

    drawn = next(p for p in pictures_for(scene.auditor, scene.record) if p.key == "map")

    row = next(row for row in drawn.data.rows if row[0] == scene.jobs[0].reference)
    assert row[4:] == (52.12, -1.65)
    assert "52.123" not in drawn.svg + drawn.data.to_csv()


def test_the_pictures_of_all_rounds_ask_as_little_for_many_as_for_few(
    scene: ReadRound, django_assert_max_num_queries
):
    with django_assert_max_num_queries(3):
        assert len(pictures_for(scene.auditor)) >= 4


def test_a_job_counts_for_those_of_its_stratum_that_were_not_read(scene: ReadRound):
    """Two jobs of four are read in one stratum, one of ten in the other."""
    names = {"Risky": 4, "Others": 10}
    strata = [{"name": n, "population": p, "risk": 1.0, "sample": 1} for n, p in names.items()]
    sealed = let_auditors_see(scene.jobs[0], strata=strata)
    read = read_jobs(scene.auditor, scene.record)
    jobs = [
        replace(job, round_id=sealed.pk, stratum=stratum, crew=stratum)
        for job, stratum in zip(read, ("Risky", "Risky", "Others"), strict=True)
    ]

    crews = crews_compared(weighted(jobs))

    assert {job.weight for job in read} == {1.0}
    assert [job.weight for job in weighted(jobs)] == pytest.approx([3 / 7, 3 / 7, 15 / 7])
    assert "count for less" in crews.note
    assert {(row[0], row[1], row[-1]) for row in crews.data.rows} == {
        ("Risky", 2, 2.0),
        ("Others", 1, 1.0),
    }


def test_the_report_says_what_was_decided_and_by_which_draw(scene: ReadRound):
    said = report_contents(scene.record, scene.auditor)

    assert said["accepted"] is False
    assert ["Repeated", "for this report, from nonce, Seal and list: the same jobs"] in said["draw"]
    assert [c["title"] for c in said["findings"]] == ["Major", "Minor"]
    exchange = said["findings"][0]["items"][0]["exchange"]
    assert exchange[0]["text"] == "Put right on the same day."
    assert "1 piece of evidence" in exchange[0]["who"]
    assert said["seals"][0]["facts"][2] == ["Root", scene.record.seal.root_hex]
    assert str(said).count(scene.jobs[0].reference) >= 2


def test_there_is_no_report_before_the_draw(client: Client, scene: ReadRound):
    begun = commit_round(scene.auditor.scheme, scene.auditor, terms(), "ab" * 32)
    client.force_login(scene.auditor)

    answer = client.get(f"/audit/rounds/{begun.pk}/report.pdf", follow=True)

    assert "once the sample is drawn" in answer.content.decode()
    with pytest.raises(Conflict):
        report_contents(begun, scene.auditor)
