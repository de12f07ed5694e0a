"""The number that a crew rings when it stops work."""

from __future__ import annotations

import pytest
from django.urls import reverse

from jobs.errors import Refused, Stale
from jobs.models import Company
from jobs.platform.companies import set_office_phone
from tests.factories import CompanyFactory, UserFactory
from tests.jobs.on_site_scene import booked_scene

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("phone", ["01632 960 001", "+44 (0)1632 960001", "01632-960-001", ""])
def test_a_number_as_people_write_it_is_taken(phone: str) -> None:
    assert set_office_phone(CompanyFactory(), f" {phone} ").office_phone == phone


@pytest.mark.parametrize("phone", ["ask Orla", "12", "01632 960 001 ext", "javascript:1"])
def test_what_no_phone_could_ring_is_refused(phone: str) -> None:
    with pytest.raises(Refused, match="no telephone number") as refusal:
        set_office_phone(CompanyFactory(), phone)
    assert refusal.value.field == "office_phone"


def test_an_edit_of_another_is_not_overwritten() -> None:
    company = CompanyFactory()
    set_office_phone(company, "01632 960 001", version=company.version)
    with pytest.raises(Stale):
        set_office_phone(company, "01632 960 002", version=company.version)


@pytest.mark.parametrize("name", ["on_site_visit", "on_site_stop"])
def test_it_can_be_touched_where_work_is_stopped(client, name: str) -> None:
    scene = booked_scene()
    set_office_phone(scene.visit.company, "01632 960 001")
    client.force_login(scene.installer)
    html = client.get(reverse(name, args=[scene.visit.pk])).content.decode()
    assert 'href="tel:01632960001"' in html
    assert 'data-office-phone="01632 960 001"' in html


def test_the_planner_sets_it_and_is_told_of_a_wrong_one(client) -> None:
    planner = UserFactory(role="planner")
    client.force_login(planner)
    refused = client.post(reverse("office"), {"office_phone": "ask Orla", "version": 1})
    assert "no telephone number" in refused.content.decode()
    client.post(reverse("office"), {"office_phone": "01632 960 001", "version": 1})
    assert Company.objects.get(pk=planner.company_id).office_phone == "01632 960 001"
