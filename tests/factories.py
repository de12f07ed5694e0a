"""Makers of records for tests. Each gives a valid record with as little as the test says."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import factory
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from factory.django import DjangoModelFactory

from jobs import models as jobs

PASSWORD = "loft-hatch-4821"
A_MONDAY = datetime(2026, 11, 30, 8, 0, tzinfo=UTC)


class CompanyFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Company

    name = factory.Sequence(lambda n: f"Invented Lofts {n}")
    slug = factory.Sequence(lambda n: f"invented-lofts-{n}")


class SchemeFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Scheme
        skip_postgeneration_save = True

    name = factory.Sequence(lambda n: f"Warm Homes Trial {n}")
    code = factory.Sequence(lambda n: f"wht-{n}")
    starts_on = date(2026, 1, 1)

    @factory.post_generation
    def companies(self, create: bool, extracted: Any, **kwargs: Any) -> None:
        if create and extracted:
            self.companies.add(*extracted)


class UserFactory(DjangoModelFactory):
    """A planner unless told otherwise. `role="auditor"` gets a scheme instead of a company."""

    class Meta:
        model = jobs.User

    email = factory.Sequence(lambda n: f"person{n}@example.test")
    first_name = "Robin"
    last_name = factory.Sequence(lambda n: f"Tester{n}")
    role = jobs.Role.PLANNER
    password = factory.django.Password(PASSWORD)
    company = factory.Maybe(
        factory.LazyAttribute(lambda o: o.role not in ("auditor", "platform_admin")),
        yes_declaration=factory.SubFactory(CompanyFactory),
        no_declaration=None,
    )
    scheme = factory.Maybe(
        factory.LazyAttribute(lambda o: o.role == "auditor"),
        yes_declaration=factory.SubFactory(SchemeFactory),
        no_declaration=None,
    )


class PropertyFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Property

    company = factory.SubFactory(CompanyFactory)
    reference = factory.Sequence(lambda n: f"P{n:05d}")
    address_line_1 = factory.Sequence(lambda n: f"{n + 1} Example Row")
    town = "Sampleton"
    postcode = "LE1 1AA"
    nation = jobs.Nation.ENGLAND
    latitude_deg = 52.63
    longitude_deg = -1.13


class JobFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Job

    company = factory.SubFactory(CompanyFactory)
    property = factory.SubFactory(PropertyFactory, company=factory.SelfAttribute("..company"))
    scheme = factory.SubFactory(SchemeFactory)


class VanFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Van

    company = factory.SubFactory(CompanyFactory)
    name = factory.Sequence(lambda n: f"Van {n}")
    load_volume_m3 = 11.0


class CrewFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Crew

    company = factory.SubFactory(CompanyFactory)
    name = factory.Sequence(lambda n: f"Crew {n}")


class OperativeFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Operative

    company = factory.SubFactory(CompanyFactory)
    crew = factory.SubFactory(CrewFactory, company=factory.SelfAttribute("..company"))
    name = factory.Sequence(lambda n: f"Operative {n}")
    skills = ["insulation"]


class SurveyFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Survey

    job = factory.SubFactory(JobFactory)
    surveyed_by = factory.SubFactory(
        UserFactory, role="surveyor", company=factory.SelfAttribute("..job.company")
    )
    surveyed_on = date(2026, 11, 2)


class LoftAreaFactory(DjangoModelFactory):
    """A rectangle of 8 m by 6 m with eaves along its long sides."""

    class Meta:
        model = jobs.LoftArea

    survey = factory.SubFactory(SurveyFactory)
    name = "Main loft"
    outline_mm = [[0, 0], [8000, 0], [8000, 6000], [0, 6000]]
    eaves_edges = [0, 2]
    existing_depth_mm = 100


class CompanyRollTypeFactory(DjangoModelFactory):
    """A roll of a company's own; in use unless said otherwise."""

    class Meta:
        model = jobs.CompanyRollType

    company = factory.SubFactory(CompanyFactory)
    code = factory.Sequence(lambda n: f"OWN{n}")
    name = factory.LazyAttribute(lambda roll: f"Own wool {roll.code}")
    thickness_mm = 170
    width_mm = 1140
    length_mm = 5000
    conductivity_w_mk = 0.044
    splits = factory.LazyFunction(lambda: [2, 3])
    cost = 27.0
    packed_volume_m3 = 0.19
    entered_by = factory.SubFactory(UserFactory, company=factory.SelfAttribute("..company"))


class LayerPlanFactory(DjangoModelFactory):
    class Meta:
        model = jobs.LayerPlan

    survey = factory.SubFactory(
        SurveyFactory, job=factory.SelfAttribute("..job"), completed_at=A_MONDAY
    )
    job = factory.SubFactory(JobFactory)
    engine_version = "test"
    target_depth_mm = 270
    target_source = "asked for by a test"
    quantities = factory.LazyFunction(dict)
    net_area_m2 = 48
    roll_count = 12
    packed_volume_m3 = 3.2
    crew_hours = 4.0
    u_before_w_m2k = 0.42
    u_after_w_m2k = 0.16


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Visit

    job = factory.SubFactory(JobFactory)
    company = factory.SelfAttribute("job.company")
    kind = "fitting"
    crew = factory.SubFactory(CrewFactory, company=factory.SelfAttribute("..company"))
    booked_by = factory.SubFactory(UserFactory, company=factory.SelfAttribute("..company"))
    during = DateTimeTZRange(A_MONDAY, A_MONDAY + timedelta(hours=4))


class DepthReadingFactory(DjangoModelFactory):
    class Meta:
        model = jobs.DepthReading

    visit = factory.SubFactory(VisitFactory)
    area = factory.SubFactory(LoftAreaFactory, survey__job=factory.SelfAttribute("...visit.job"))
    x_mm = 2000
    y_mm = 2000
    depth_mm = 280
    measured_by = factory.SubFactory(
        UserFactory, role="installer", company=factory.SelfAttribute("..visit.company")
    )
    measured_at = A_MONDAY + timedelta(hours=3)


class PhotoFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Photo

    visit = factory.SubFactory(VisitFactory)
    job = factory.SelfAttribute("visit.job")
    moment = "before"
    point_label = "P1"
    sha256 = factory.Sequence(lambda n: f"{n:064x}")
    size_bytes = 1000
    media_type = "image/jpeg"
    original_name = factory.LazyAttribute(lambda o: f"photos/{o.sha256}")
    sent_by = factory.SubFactory(
        UserFactory, role="installer", company=factory.SelfAttribute("..visit.company")
    )


class HandoverFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Handover

    visit = factory.SubFactory(VisitFactory)
    signed_name = "A. Householder"
    signature_svg = "M0 0 L10 10"
    cautions_given = ["storage", "ventilation"]
    taken_by = factory.SubFactory(
        UserFactory, role="installer", company=factory.SelfAttribute("..visit.company")
    )
    signed_at = A_MONDAY + timedelta(hours=4)


class PreStartCheckFactory(DjangoModelFactory):
    class Meta:
        model = jobs.PreStartCheck

    visit = factory.SubFactory(VisitFactory)
    answers = {"ppe": "yes", "boards": "yes", "downlights": "yes", "cables": "yes"}
    safe_to_start = True
    checked_by = factory.SubFactory(
        UserFactory, role="installer", company=factory.SelfAttribute("..visit.company")
    )
    checked_at = A_MONDAY


class SiteFactFactory(DjangoModelFactory):
    class Meta:
        abstract = True

    visit = factory.SubFactory(VisitFactory)
    recorded_by = factory.SubFactory(
        UserFactory, role="installer", company=factory.SelfAttribute("..visit.company")
    )


class ArrivalFactory(SiteFactFactory):
    class Meta:
        model = jobs.Arrival

    operative_ids = [1]
    let_in_by = "the householder"
    loft_ready = True
    arrived_at = A_MONDAY


class WorkStepFactory(SiteFactFactory):
    class Meta:
        model = jobs.WorkStep

    step = "eaves"
    outcome = "done"
    answers = {"trays": "yes", "air_gap": "yes"}
    done_at = A_MONDAY + timedelta(hours=1)


class VariationFactory(SiteFactFactory):
    class Meta:
        model = jobs.Variation

    kind = "deck_found"
    meaning = "less_depth"
    reason = "Boards beneath a carpet"
    found_at = A_MONDAY + timedelta(hours=1)


class StopWorkFactory(SiteFactFactory):
    class Meta:
        model = jobs.StopWork

    reason = "Droppings at the ridge"
    found = ["bats_or_birds"]
    stopped_at = A_MONDAY + timedelta(minutes=30)


class LeaveFactory(SiteFactFactory):
    class Meta:
        model = jobs.Leave

    because = "handed_over"
    loft_closed = True
    site_clear = True
    left_at = A_MONDAY + timedelta(hours=4)
