"""An invented company's office: a planner, a scheme, crews with skills, homes, jobs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.test import Client
from rest_framework.test import APIClient

from jobs.intake.values import PropertyValues
from jobs.models import Company, Crew, Job, Scheme, Stage, User, Van, Visit
from jobs.planning.booking import book_visit
from tests.factories import (
    A_MONDAY,
    CompanyFactory,
    CrewFactory,
    JobFactory,
    OperativeFactory,
    SchemeFactory,
    UserFactory,
    VanFactory,
)

MORNING = A_MONDAY


@dataclass
class Office:
    company: Company
    scheme: Scheme
    planner: User

    def person(self, role: str) -> User:
        return UserFactory(role=role, company=self.company)

    def van(self, **values: Any) -> Van:
        return VanFactory(company=self.company, **values)

    def crew(self, *skills: str, **values: Any) -> Crew:
        crew = CrewFactory(company=self.company, **values)
        OperativeFactory(company=self.company, crew=crew, skills=list(skills or ["insulation"]))
        return crew

    def job(self, stage: str = Stage.TO_SURVEY, **values: Any) -> Job:
        return JobFactory(company=self.company, scheme=self.scheme, stage=stage, **values)

    def booked(self, job: Job | None = None, crew: Crew | None = None, **given: Any) -> Visit:
        """A fitting visit booked for four hours on a Monday morning."""
        start: datetime = given.pop("starts_at", MORNING)
        return book_visit(
            job or self.job(Stage.TO_PLAN),
            given.pop("kind", "fitting"),
            crew or self.crew(),
            given.pop("van", None),
            start,
            given.pop("hours", 4.0),
            self.planner,
            **given,
        )


def an_office() -> Office:
    company = CompanyFactory()
    scheme = SchemeFactory(companies=[company])
    return Office(company, scheme, UserFactory(role="planner", company=company))


def values(**given: Any) -> PropertyValues:
    """A home in Leicester unless told otherwise."""
    plain: dict[str, Any] = {
        "reference": "H-1",
        "address_line_1": "1 Example Row",
        "town": "Sampleton",
        "postcode": "LE1 1AA",
        "nation": "england",
    }
    return PropertyValues(**(plain | given))


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def api_for(user: User) -> APIClient:
    client = APIClient()
    client.force_authenticate(user)
    return client


def at(hours_later: float) -> datetime:
    """A moment so many hours after the Monday morning."""
    return MORNING + timedelta(hours=hours_later)
