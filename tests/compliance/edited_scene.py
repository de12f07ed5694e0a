"""Rows that can be edited, of every table of them: made, changed, and some deleted again."""

from __future__ import annotations

from datetime import time

import pghistory

from compliance.models import AnswerEvidence, AnswerInspection
from compliance.personal.holds import place_hold
from compliance.personal.retention import set_period
from jobs.models import DepotHours, Fixture, Obstacle, Visit, VisitOperative
from tests.access.worlds import World
from tests.factories import CompanyRollTypeFactory, CrewFactory

SQUARE_MM = [[3000, 1500], [4500, 1500], [4500, 2500], [3000, 2500]]


def edited_rows(world: World) -> None:
    officer = world.people["compliance_officer"]
    depot, survey = world.depot, world.survey
    for weekday in (0, 1):
        DepotHours.objects.create(
            depot=depot, weekday=weekday, opens_at=time(7), closes_at=time(17)
        )
    for number in (1, 2):
        Obstacle.objects.create(
            survey=survey, name=f"Tank {number}", kind="tank", outline_mm=SQUARE_MM
        )
        Fixture.objects.create(
            survey=survey, name=f"Lamp {number}", kind="downlight", x_mm=500.0, y_mm=900.0
        )
    survey.obstacles.get(name="Tank 2").delete()
    survey.fixtures.filter(name="Lamp 2").update(x_mm=650.0)
    for visit in (world.booked_visit, world.visit):
        VisitOperative.objects.create(visit=visit, operative=world.operative)
    with pghistory.context(user=officer.pk, url="/visits/"):
        Visit.objects.filter(pk=world.booked_visit.pk).update(note="Ring before coming")
    roll = CompanyRollTypeFactory(company=world.company, code="EDITED")
    roll.conductivity_w_mk, roll.version = 0.041, 2
    roll.save()
    world.need.barred_crews.add(CrewFactory(company=world.company, name="Crew not sent"))
    place_hold(world.job, "A claim about damp is open", officer)
    set_period(world.company, "contact", 24, officer)
    set_period(world.company, "contact", 30, officer)
    AnswerInspection.objects.create(
        evidence=AnswerEvidence.objects.first(), inspector_version="1", readable=False
    )
