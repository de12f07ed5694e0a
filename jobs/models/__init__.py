"""The records a retrofit company plans and proves its loft work with."""

from __future__ import annotations

from jobs.models.calendar_feeds import CalendarFeed
from jobs.models.crews import Crew, Operative, Skill, Van
from jobs.models.depots import Depot, DepotHours, StockItem, StockOrder
from jobs.models.evidence import (
    DepthReading,
    Handover,
    Photo,
    PhotoInspection,
    PreStartCheck,
)
from jobs.models.idempotency import IdempotentCreate
from jobs.models.intake import IntakeBatch, IntakeRow
from jobs.models.jobs import Job, Stage
from jobs.models.layer_plans import LayerPlan
from jobs.models.office_prices import OfficePrices
from jobs.models.organisations import Company, Scheme
from jobs.models.people import Role, User
from jobs.models.photo_hashes import PhotoHash
from jobs.models.plan_runs import PlanRun, ProposedVisit
from jobs.models.planning import Absence, AgreedWindow, VisitNeed
from jobs.models.properties import Nation, Property
from jobs.models.roll_types import CompanyRollType
from jobs.models.site_work import (
    Arrival,
    Leave,
    StopNotice,
    StopWork,
    Variation,
    WorkStep,
)
from jobs.models.stock import StockBalance, StockMovement, VanLoading
from jobs.models.surveys import Fixture, Hazard, LoftArea, Obstacle, Survey
from jobs.models.travel import TravelLeg
from jobs.models.uploads import Upload, UploadPiece
from jobs.models.visit_kinds import LAYING_KINDS, VisitKind
from jobs.models.visits import Visit, VisitOperative

__all__ = [
    "Arrival",
    "CalendarFeed",
    "LAYING_KINDS",
    "Absence",
    "AgreedWindow",
    "Company",
    "CompanyRollType",
    "Crew",
    "Depot",
    "DepotHours",
    "DepthReading",
    "Fixture",
    "Handover",
    "Hazard",
    "IdempotentCreate",
    "IntakeBatch",
    "IntakeRow",
    "Job",
    "LayerPlan",
    "Leave",
    "LoftArea",
    "Nation",
    "Obstacle",
    "Operative",
    "Photo",
    "PhotoHash",
    "PhotoInspection",
    "OfficePrices",
    "PlanRun",
    "PreStartCheck",
    "Property",
    "ProposedVisit",
    "Role",
    "Scheme",
    "Skill",
    "Stage",
    "StockBalance",
    "StockItem",
    "StockMovement",
    "StockOrder",
    "StopNotice",
    "StopWork",
    "Survey",
    "TravelLeg",
    "Upload",
    "UploadPiece",
    "User",
    "Van",
    "VanLoading",
    "Variation",
    "Visit",
    "VisitKind",
    "VisitNeed",
    "VisitOperative",
    "WorkStep",
]
