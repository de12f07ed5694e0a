"""What most tests of planning begin with: an office, a crew with a base, a day it works."""

from __future__ import annotations

from datetime import date

import pytest

from jobs.models import Crew
from tests.jobs.plan_scene import a_day_ahead, based_crew
from tests.jobs.planner_scene import Office, an_office


@pytest.fixture
def office(db: None) -> Office:
    return an_office()


@pytest.fixture
def crew(office: Office) -> Crew:
    return based_crew(office)


@pytest.fixture
def day(crew: Crew) -> date:
    return a_day_ahead(crew)
