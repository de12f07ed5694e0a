"""The number that a crew rings when it stops work."""

from __future__ import annotations

import pytest
from django.test import Client

from jobs.errors import Refused, Stale
from jobs.platform.companies import set_office_phone
from tests.factories import CompanyFactory
from tests.jobs.on_site_scene import fitting_today

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
