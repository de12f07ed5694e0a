"""Depths measured again: near a reading, once, corrected by a new row, compared by crew."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from compliance.audits.reading import mark_read
from compliance.audits.remeasuring import (
    Again,
    agreement_of,
    crew_names,
    readings_to_measure,
    remeasure,
)
from compliance.audits.rounds import close_round
from compliance.models import LedgerEntry, Remeasurement
from jobs.errors import Refused
from tests.compliance.reading_scene import AuditScene, audit_scene
from tests.compliance.scene import certified_scene
from tests.factories import CompanyFactory, CrewFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> AuditScene:
    return audit_scene()


def measured(scene: AuditScene, *differences: float) -> list[Remeasurement]:
    readings = readings_to_measure(scene.drawn)
    rows = [
        Again(reading.pk, reading.depth_mm + difference)
        for reading, difference in zip(readings, differences, strict=False)
    ]
    return remeasure(scene.drawn, scene.auditor, rows)


def test_bias_spread_and_limits_are_those_of_the_paper(scene):
    """Bland and Altman, The Lancet 327 (1986): bias is the mean difference, limits lie 1.96
    standard deviations from it. Differences -4, 0, 4, 8: mean 2, s = sqrt(80 / 3)."""
    measured(scene, -4, 0, 4, 8)

    found = agreement_of(scene.round)

    (crew,) = found.crews
    assert crew.name == scene.scene.visit.crew.name
    assert crew.found.bias == pytest.approx(2)
    assert crew.found.spread == pytest.approx((80 / 3) ** 0.5)
    assert crew.found.high == pytest.approx(2 + 1.96 * (80 / 3) ** 0.5)
    assert found.svg.startswith("<svg") and "Bias 2.0 mm" in found.svg


def test_crews_of_one_name_and_two_companies_are_told_apart():
    def reading_of(company: str, number: int) -> Any:
        crew = CrewFactory.build(
            name="North", company=CompanyFactory.build(pk=number, name=company)
        )
        return SimpleNamespace(reading=SimpleNamespace(visit=SimpleNamespace(crew=crew)))

    first, second = reading_of("Warm Co", 1), reading_of("Dry Co", 2)

    crew_of = crew_names([first, second])
    assert [crew_of(first), crew_of(second)] == ["Warm Co: North", "Dry Co: North"]
    assert crew_names([first])(first) == "North"


def test_the_phone_page_hides_the_installers_depths_until_they_are_measured(client, scene):
    client.force_login(scene.auditor)
    first, second, *_ = readings_to_measure(scene.drawn)
    address = reverse("remeasure", args=[scene.drawn.pk])

    before = client.get(address).text
    client.post(address, {f"depth_{first.pk}": "251"})
    after = client.get(address).text

    told = f'Installer: <span class="quantity">{first.depth_mm:.0f}'
    assert told not in before and f">{second.depth_mm:.0f}<" not in before
    assert told in after
    assert Remeasurement.objects.get().depth_mm == 251


def test_the_figures_come_as_csv_with_crews_that_are_no_formulas(client, scene):
    crew = scene.scene.visit.crew
    crew.name = "=1+1"
    crew.save()
    measured(scene, 5, -5)
    client.force_login(scene.auditor)

    lines = client.get(reverse("agreement_csv", args=[scene.round.pk])).text.splitlines()

    assert lines[0].startswith("job,reading,crew")
    assert len(lines) == 3 and "'=1+1" in lines[1]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        pytest.param({"depth_mm": 1501}, "depth_mm", id="too deep"),
        pytest.param({"depth_mm": -1}, "depth_mm", id="below nought"),
        pytest.param({"x_mm": -5000}, "x_mm", id="too far from the reading"),
        pytest.param({"reading_id": 0}, "reading", id="no such reading"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_recorded(scene, change, field):
    good, bad = readings_to_measure(scene.drawn)[:2]
    row = {"reading_id": bad.pk, "depth_mm": 280} | change

    with pytest.raises(Refused) as refusal:
        remeasure(scene.drawn, scene.auditor, [Again(good.pk, 280), Again(**row)])

    assert field in (refusal.value.field, str(refusal.value).partition(":")[0].lower())
    assert not Remeasurement.objects.exists()


def test_another_jobs_reading_is_refused(scene):
    other, _ = certified_scene()

    with pytest.raises(Refused):
        remeasure(scene.drawn, scene.auditor, [Again(other.visit.depth_readings.first().pk, 280)])


def test_a_second_depth_says_why_and_stands_in_for_the_first(scene):
    (first,) = measured(scene, 5)

    with pytest.raises(Refused, match="measured again already"):
        remeasure(scene.drawn, scene.auditor, [Again(first.reading_id, 260)])
    remeasure(
        scene.drawn, scene.auditor, [Again(first.reading_id, 260, correction_reason="typed wrong")]
    )

    assert Remeasurement.objects.current().get().depth_mm == 260


def test_a_phone_that_sends_twice_records_once(scene):
    reading, key = readings_to_measure(scene.drawn)[0], uuid4()
    row = Again(reading.pk, 280, client_key=key)

    (first,), (second,) = (remeasure(scene.drawn, scene.auditor, [row]) for _ in range(2))

    assert first == second


def test_the_company_reads_them_once_the_round_is_closed(scene):
    measured(scene, 5, 5)
    planner = scene.person("planner")
    assert not Remeasurement.objects.visible_to(planner).exists()

    mark_read(scene.drawn, scene.auditor)
    close_round(scene.round)

    assert Remeasurement.objects.visible_to(planner).count() == 2


def test_each_stands_in_the_ledger_and_raw_sql_changes_none(scene):
    (made,) = measured(scene, 5)

    entry = LedgerEntry.objects.get(kind="compliance_remeasurement")
    assert f'"depth_mm": {made.depth_mm:g}' in entry.payload
    for statement in (
        "UPDATE compliance_remeasurement SET depth_mm = 300",
        "DELETE FROM compliance_remeasurement",
        f"INSERT INTO compliance_remeasurement (drawn_job_id, reading_id, x_mm, y_mm, depth_mm, "
        f"note, measured_by_id, measured_at, received_at, client_key, correction_reason) SELECT "
        f"drawn_job_id, reading_id + 1, x_mm, y_mm, 300, '', {scene.scene.installer.pk}, now(), "
        f"now(), gen_random_uuid(), '' FROM compliance_remeasurement",
    ):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
