"""What no page and no program of ours sends: it is answered, and never by a fault of ours."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.models import Job
from jobs.numbers import whole_number
from jobs.pages.day_inputs import day_field
from tests.jobs.loading.yard import a_yard
from tests.jobs.planner_scene import an_office, api_for, signed_in

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12), ("0", 0), ("", None), ("-1", None), ("²", None), ("٣", None), ("9" * 18, None)],
)
def test_a_whole_number_is_figures_alone_and_none_that_the_database_cannot_hold(text, number):
    assert whole_number(text) == number


@pytest.mark.parametrize(
    "address",
    [
        "/jobs/?search=²",
        "/proof/verdicts/?search=²",
        "/planning/?from=9999-12-31",
        "/planning/?from=0001-01-01",
        "/planning/news/?from=9999-12-31",
    ],
)
def test_a_page_is_shown_whatever_its_address_asks_for(address):
    assert signed_in(an_office().planner).get(address).status_code == 200


def test_a_superscript_names_no_job():
    assert not Job.objects.search("²").exists()


@pytest.mark.parametrize("day", [date(20, 3, 1), date(9999, 12, 31)])
def test_a_day_of_no_time_of_ours_is_refused(day):
    field = day_field()

    assert field.clean(date(2026, 12, 31)) == date(2026, 12, 31)
    with pytest.raises(ValidationError, match="between the years"):
        field.clean(day)


def test_json_nested_beyond_reading_is_the_sender_s_fault():
    depth = 100_000
    answer = api_for(an_office().planner).post(
        "/api/v1/properties/", "[" * depth + "]" * depth, content_type="application/json"
    )

    assert answer.status_code == 400
    assert "nested too deeply" in answer.json()["detail"]


def test_a_unit_of_stock_is_shown_as_it_was_typed_and_is_no_markup():
    yard = a_yard()
    yard.item("S1", unit="<b>bag</b>")

    address = reverse("depot_receive", args=[yard.depot.pk])
    page = signed_in(yard.office.planner).get(address).text

    assert "&lt;b&gt;bag&lt;/b&gt;" in page
    assert "<b>bag" not in page
