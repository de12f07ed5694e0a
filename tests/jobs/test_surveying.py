"""A survey from the first measure to the end, and what is refused on the way."""

from __future__ import annotations

from datetime import date

import pytest

from jobs.errors import Conflict, Refused, Stale
from jobs.models import Fixture, Hazard, LoftArea, Obstacle, Stage
from jobs.surveying.records import (
    Measurements,
    complete_survey,
    problems_of,
    save_draft,
    start_survey,
)
from jobs.surveying.shapes import corners_to_outline_mm, rectangle_of
from tests.factories import JobFactory, UserFactory

pytestmark = pytest.mark.django_db

A_DAY = date(2026, 11, 2)
HATCH = [[3000, 2000], [3700, 2000], [3700, 2600], [3000, 2600]]


def rectangle(**changes) -> LoftArea:
    return LoftArea(
        **{
            "name": "Main loft",
            "outline_mm": [[0, 0], [8000, 0], [8000, 6000], [0, 6000]],
            "eaves_edges": [0, 2],
            "existing_depth_mm": 100,
        }
        | changes
    )


def a_loft(**changes) -> Measurements:
    return Measurements(
        areas=(rectangle(**changes),),
        obstacles=(Obstacle(name="Hatch", kind="hatch", outline_mm=HATCH),),
        fixtures=(Fixture(name="Landing light", kind="downlight", x_mm=5000, y_mm=3000),),
        hazards=(Hazard(kind="wet_timber", note="By the chimney"),),
    )


@pytest.fixture
def surveyor():
    return UserFactory(role="surveyor")


@pytest.fixture
def draft(surveyor):
    return start_survey(JobFactory(company=surveyor.company), surveyor, A_DAY)


def test_starting_twice_gives_the_same_draft(draft, surveyor):
    assert start_survey(draft.job, surveyor, A_DAY).pk == draft.pk


def test_a_draft_keeps_what_was_measured(draft):
    saved = save_draft(draft, a_loft())

    assert [area.name for area in saved.areas.all()] == ["Main loft"]
    assert saved.fixtures.get().kind == "downlight"
    assert problems_of(saved) == ()


def test_a_draft_is_kept_even_where_it_cannot_be_a_loft(draft):
    crossing = rectangle(outline_mm=[[0, 0], [8000, 6000], [8000, 0], [0, 6000]])

    saved = save_draft(draft, Measurements(areas=(crossing,)))

    assert saved.areas.count() == 1
    assert problems_of(saved)[0].path.startswith("areas[0]")


def test_finishing_moves_the_job_on(draft, surveyor):
    saved = save_draft(draft, a_loft())

    done = complete_survey(saved, surveyor)

    assert done.completed_at is not None
    draft.job.refresh_from_db()
    assert draft.job.stage == Stage.TO_QUANTIFY


@pytest.mark.parametrize(
    ("measured", "field"),
    [
        pytest.param(Measurements(), "areas", id="nothing measured"),
        pytest.param(Measurements(areas=(rectangle(),)), "obstacles", id="no hatch"),
        pytest.param(a_loft(eaves_edges=[]), "areas", id="no eaves"),
        pytest.param(
            a_loft(outline_mm=[[0, 0], [8000, 6000], [8000, 0], [0, 6000]]),
            "areas[0].outline_mm",
            id="outline crosses itself",
        ),
    ],
)
def test_an_unfinished_survey_is_not_finished(draft, surveyor, measured, field):
    saved = save_draft(draft, measured)

    with pytest.raises(Refused) as refusal:
        complete_survey(saved, surveyor)

    assert refusal.value.field == field
    assert refusal.value.remedy


def test_a_value_out_of_range_names_its_place_and_loses_nothing(draft):
    save_draft(draft, a_loft())

    with pytest.raises(Refused) as refusal:
        save_draft(draft, a_loft(joist_spacing_mm=5))

    assert refusal.value.field == "areas[0].joist_spacing_mm"
    assert draft.areas.get().joist_spacing_mm == 400


def test_two_people_never_overwrite_each_other_silently(draft):
    save_draft(draft, a_loft(), version=1)

    with pytest.raises(Stale):
        save_draft(draft, a_loft(), version=1)


def test_a_finished_survey_is_kept_and_measuring_again_starts_from_it(draft, surveyor):
    done = complete_survey(save_draft(draft, a_loft()), surveyor)

    with pytest.raises(Conflict):
        save_draft(done, a_loft())
    second = start_survey(draft.job, surveyor, A_DAY)
    assert second.pk != done.pk
    assert second.areas.get().existing_depth_mm == 100


def test_a_job_on_site_is_not_surveyed_again(surveyor):
    job = JobFactory(company=surveyor.company, stage=Stage.BOOKED)

    with pytest.raises(Conflict, match="Booked"):
        start_survey(job, surveyor, A_DAY)


def test_corners_are_read_in_metres():
    assert corners_to_outline_mm("0 0, 8 0\n8 6.5; 0 6.5") == [
        [0, 0],
        [8000, 0],
        [8000, 6500],
        [0, 6500],
    ]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("0 0, 8", id="one number"),
        pytest.param("0 0, 8 a, 8 6", id="a letter"),
        pytest.param("0 0, 8 0", id="two corners"),
    ],
)
def test_corners_that_are_none_are_refused(text):
    with pytest.raises(Refused):
        corners_to_outline_mm(text)


def test_an_l_shape_is_no_rectangle():
    corners = [[0, 0], [8, 0], [8, 3], [4, 3], [4, 6], [0, 6]]

    assert rectangle_of(corners) is None
    assert rectangle_of([[0, 0], [8000, 0], [8000, 6000], [0, 6000]]).length_m == 8.0
