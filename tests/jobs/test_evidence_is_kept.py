"""Evidence is never changed in place: the database refuses it even by raw SQL."""

from __future__ import annotations

import pytest
from django.db import ProgrammingError, connection

from jobs.evidence.inspection import inspect
from jobs.models import DepthReading
from tests.factories import (
    ArrivalFactory,
    DepthReadingFactory,
    HandoverFactory,
    LeaveFactory,
    PreStartCheckFactory,
    StopWorkFactory,
    VariationFactory,
    WorkStepFactory,
)
from tests.jobs.on_site_scene import scene_on_site, stored
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db

STATEMENTS = (
    "UPDATE jobs_photo SET moment = 'after'",
    "UPDATE jobs_photo SET sha256 = repeat('0', 64)",
    "DELETE FROM jobs_photo",
    "UPDATE jobs_photoinspection SET warnings = '[]'",
    "DELETE FROM jobs_photoinspection",
    "UPDATE jobs_depthreading SET depth_mm = 300",
    "DELETE FROM jobs_depthreading",
    "UPDATE jobs_prestartcheck SET safe_to_start = true",
    "DELETE FROM jobs_prestartcheck",
    "UPDATE jobs_handover SET all_done = false, not_done_reason = 'x'",
    "DELETE FROM jobs_handover",
    "UPDATE jobs_arrival SET let_in_by = 'nobody'",
    "DELETE FROM jobs_arrival",
    "UPDATE jobs_workstep SET outcome = 'not_needed'",
    "DELETE FROM jobs_workstep",
    "UPDATE jobs_variation SET reason = 'none'",
    "DELETE FROM jobs_variation",
    "UPDATE jobs_stopwork SET found = '{}'",
    "DELETE FROM jobs_stopwork",
    "UPDATE jobs_leave SET site_clear = false, note = 'x'",
    "DELETE FROM jobs_leave",
    "UPDATE jobs_depthreading SET phone_ahead = interval '7 minutes'",
)


@pytest.mark.parametrize("statement", STATEMENTS)
def test_raw_sql_cannot_change_or_delete_evidence(statement):
    inspect(stored(scene_on_site(), loft_jpeg(3)))
    DepthReadingFactory()
    PreStartCheckFactory()
    HandoverFactory()
    for factory in (
        ArrivalFactory,
        WorkStepFactory,
        VariationFactory,
        StopWorkFactory,
        LeaveFactory,
    ):
        factory()

    with (
        pytest.raises(ProgrammingError, match="Cannot update or delete rows"),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


def test_a_correction_leaves_the_first_reading_readable():
    first = DepthReadingFactory(depth_mm=27)
    second = DepthReadingFactory(
        visit=first.visit, area=first.area, replaces=first, correction_reason="typed cm"
    )

    assert list(DepthReading.objects.current()) == [second]
    assert DepthReading.objects.get(pk=first.pk).depth_mm == 27
