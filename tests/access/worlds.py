"""Four worlds of the same records, told apart by a word that stands in everything written there.

own            company A, scheme S, the crew of the people who try the addresses
other_crew     company A, scheme S, another crew
other_scheme   company A, another scheme, another crew
other_company  company B, under scheme S too, so that only the company tells them apart
"""

from __future__ import annotations

import hashlib
import io
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import timedelta
from functools import lru_cache
from typing import Any
from unittest.mock import patch

from django.apps import apps
from django.utils import timezone

from compliance.assess import assess_job
from compliance.audits.answers import answer_finding, reply_to_answer
from compliance.audits.findings import draft_finding, record_finding
from compliance.audits.follow_up import ask_follow_up
from compliance.audits.reading import mark_read
from compliance.audits.remeasuring import Again, remeasure
from compliance.audits.rounds import RoundTerms, commit_round, draw_sample, seal_population
from compliance.certificates.issue import issue_certificate
from compliance.evidence_access import note_access
from compliance.ledger.seals import make_seal
from compliance.models import (
    AnswerEvidence,
    Assessment,
    AuditFollowUp,
    AuditRound,
    Certificate,
    DepthRule,
    DrawnJob,
    Finding,
    FindingAnswer,
    FindingDraft,
    FindingReply,
    IssueRun,
    JobRead,
    LedgerEntry,
    Remeasurement,
    Seal,
    Shortfall,
    SwitchingStep,
    Waiver,
)
from compliance.waivers import record_waiver
from jobs.evidence.inspection import inspect
from jobs.evidence.photos import store_photo
from jobs.loading.movements import receive_delivery
from jobs.loading.orders import place_order
from jobs.loading.vans import mark_loaded
from jobs.models import (
    Absence,
    AgreedWindow,
    Arrival,
    Company,
    CompanyRollType,
    Crew,
    Depot,
    DepthReading,
    Handover,
    Hazard,
    IntakeBatch,
    IntakeRow,
    Job,
    LayerPlan,
    Leave,
    OfficePrices,
    Operative,
    Photo,
    PlanRun,
    PreStartCheck,
    Property,
    ProposedVisit,
    Role,
    Scheme,
    StockItem,
    StockMovement,
    StockOrder,
    StopWork,
    Survey,
    Upload,
    User,
    Van,
    VanLoading,
    Variation,
    Visit,
    VisitNeed,
    WorkStep,
)
from jobs.planning.prices import Prices, set_prices
from jobs.rounds.feeds import renew_feed
from jobs.surveying.quantities import make_layer_plan
from jobs.uploads.receiving import begin_upload
from tests.compliance.scene import GOOD_DEPTHS, SHORT_DEPTHS, Scene, measure
from tests.factories import (
    A_MONDAY,
    ArrivalFactory,
    CompanyFactory,
    CompanyRollTypeFactory,
    CrewFactory,
    HandoverFactory,
    JobFactory,
    LayerPlanFactory,
    LeaveFactory,
    LoftAreaFactory,
    OperativeFactory,
    PreStartCheckFactory,
    PropertyFactory,
    SchemeFactory,
    StopWorkFactory,
    SurveyFactory,
    UserFactory,
    VanFactory,
    VariationFactory,
    VisitFactory,
    WorkStepFactory,
)
from tests.jobs.tus import encoded, told_of
from tests.pictures import loft_jpeg

WORLDS = ("own", "other_crew", "other_scheme", "other_company")
SECRETS = {
    "own": "Quillfeather",
    "other_crew": "Marrowgate",
    "other_scheme": "Tindlebeck",
    "other_company": "Oxbarrow",
}
ROLES = tuple(Role.values)


@dataclass
class World:
    """The records of one world. `made` holds the ids of every row written for it, by model."""

    name: str
    company: Company
    scheme: Scheme
    people: dict[str, User]
    crew: Crew
    van: Van
    operative: Operative
    made: dict[type[Any], set[int]] = field(default_factory=lambda: defaultdict(set))

    # A scheme that in this world alone a company works under or an auditor audits.
    marked_scheme: Scheme = field(init=False)
    job: Job = field(init=False)
    home: Property = field(init=False)
    survey: Survey = field(init=False)
    visit: Visit = field(init=False)
    check: PreStartCheck = field(init=False)
    arrival: Arrival = field(init=False)
    work_step: WorkStep = field(init=False)
    variation: Variation = field(init=False)
    stop: StopWork = field(init=False)
    leave: Leave = field(init=False)
    photo: Photo = field(init=False)
    reading: DepthReading = field(init=False)
    handover: Handover = field(init=False)
    assessment: Assessment = field(init=False)
    certificate: Certificate = field(init=False)
    issue_run: IssueRun = field(init=False)
    entry: LedgerEntry = field(init=False)

    booked_job: Job = field(init=False)
    booked_visit: Visit = field(init=False)
    upload: Upload = field(init=False)
    plan: LayerPlan = field(init=False)
    depot: Depot = field(init=False)
    stock_item: StockItem = field(init=False)
    roll_type: CompanyRollType = field(init=False)
    stock_order: StockOrder = field(init=False)
    movement: StockMovement = field(init=False)
    loading: VanLoading = field(init=False)
    calendar_token: str = field(init=False)
    need: VisitNeed = field(init=False)
    window: AgreedWindow = field(init=False)
    absence: Absence = field(init=False)
    run: PlanRun = field(init=False)
    prices: OfficePrices = field(init=False)
    proposal: ProposedVisit = field(init=False)
    draft_job: Job = field(init=False)
    draft: Survey = field(init=False)
    shortfall: Shortfall = field(init=False)
    waiver: Waiver = field(init=False)
    batch: IntakeBatch = field(init=False)
    rule: DepthRule = field(init=False)
    seal: Seal = field(init=False)
    round: AuditRound = field(init=False)
    drawn: DrawnJob = field(init=False)
    finding: Finding = field(init=False)
    answer: FindingAnswer = field(init=False)
    answer_file: AnswerEvidence = field(init=False)
    reply: FindingReply = field(init=False)
    finding_draft: FindingDraft = field(init=False)
    follow_up: AuditFollowUp = field(init=False)
    series: SwitchingStep = field(init=False)
    job_read: JobRead = field(init=False)
    measured: DepthReading = field(init=False)
    remeasurement: Remeasurement = field(init=False)

    @property
    def secret(self) -> str:
        return SECRETS[self.name]


def build_worlds() -> dict[str, World]:
    company, scheme = CompanyFactory(name="Invented Lofts A"), SchemeFactory(name="Warm Trial S")
    other_scheme = SchemeFactory(name=f"Warm Trial {SECRETS['other_scheme']}")
    other_company = CompanyFactory(name=f"Invented Lofts {SECRETS['other_company']}")
    scheme.companies.add(company, other_company)
    other_scheme.companies.add(company)
    worlds = {
        "own": build(World, "own", company, scheme),
        "other_crew": build(World, "other_crew", company, scheme),
        "other_scheme": build(World, "other_scheme", company, other_scheme),
        "other_company": build(World, "other_company", other_company, scheme),
    }
    for world in worlds.values():
        world.marked_scheme = world.scheme
    elsewhere = SchemeFactory(name=f"Cold Trial {SECRETS['other_company']}")
    elsewhere.companies.add(other_company)
    worlds["other_company"].marked_scheme = elsewhere
    return worlds


def build(kind: type[World], name: str, company: Company, scheme: Scheme) -> World:
    """One world, with the ids of whatever was written meanwhile."""
    before = ids_of_everything()
    secret = SECRETS[name]
    people = {role: person(role, company, scheme, secret) for role in ROLES}
    van = VanFactory(company=company, name=f"Van {secret}")
    crew = CrewFactory(company=company, name=f"Crew {secret}", van=van)
    operative = OperativeFactory(
        company=company,
        crew=crew,
        user=people["installer"],
        name=f"Operative {secret}",
        leads_crew=True,
    )
    world = kind(name, company, scheme, people, crew, van, operative)
    fit_and_certify(world)
    book(world)
    keep_stock(world)
    plan_anew(world)
    begin_survey(world)
    fall_short(world)
    send_spreadsheet(world)
    world.rule = propose(world)
    audit(world)
    for model, ids in ids_of_everything().items():
        world.made[model] = ids - before[model]
    return world


def ids_of_everything() -> dict[type[Any], set[int]]:
    models = [*apps.get_app_config("jobs").get_models()]
    models += apps.get_app_config("compliance").get_models()
    return {m: set(m._base_manager.values_list("pk", flat=True)) for m in models}


def world_of(secret: str) -> str:
    return next(name for name, word in SECRETS.items() if word == secret)


def person(role: str, company: Company, scheme: Scheme, secret: str) -> User:
    place: dict[str, Any] = {"company": company}
    if role == Role.AUDITOR:
        place = {"scheme": scheme}
    elif role == Role.PLATFORM_ADMIN:
        place, secret = {}, f"Keeper{WORLDS.index(world_of(secret))}"
    return UserFactory(
        role=role,
        first_name=role,
        last_name=secret,
        email=f"{role}@{secret.lower()}.test",
        **place,
    )


def a_job(world: World, number: int, stage: str) -> Job:
    home = PropertyFactory(
        company=world.company,
        reference=f"{world.secret}-{number}",
        address_line_1=f"{number} {world.secret} Row",
        householder_name=f"Householder {world.secret}",
        householder_phone="01632 960001",
        householder_email=f"home{number}@{world.secret.lower()}.test",
        access_notes=f"Key at {world.secret} corner",
    )
    return JobFactory(company=world.company, property=home, scheme=world.scheme, stage=stage)


def a_survey(world: World, job: Job, **fields: Any) -> tuple[Survey, Any]:
    survey = SurveyFactory(
        job=job, surveyed_by=world.people["surveyor"], note=f"Seen by {world.secret}", **fields
    )
    Hazard.objects.create(survey=survey, kind="other", note=f"Nest of {world.secret}")
    return survey, LoftAreaFactory(survey=survey)


def a_visit(world: World, job: Job, hours_later: float, **fields: Any) -> Visit:
    start = A_MONDAY + timedelta(hours=hours_later)
    return VisitFactory(
        job=job,
        crew=world.crew,
        van=world.van,
        booked_by=world.people["planner"],
        during=(start, start + timedelta(minutes=110)),
        note=f"Ring {world.secret} first",
        **fields,
    )


def fitted(
    world: World, number: int, depths: tuple[float, ...], hours_later: float
) -> tuple[Scene, Photo]:
    """A job that was fitted and measured, with all its evidence; and the first photo of it."""
    job = a_job(world, number, "to_assess")
    survey, area = a_survey(world, job, completed_at=timezone.now())
    visit = a_visit(world, job, hours_later, status="done", left_at=A_MONDAY + timedelta(hours=9))
    scene = Scene(job, survey, area, visit, world.people["installer"])
    measure(scene, depths)
    photos = [
        store_photo(
            visit,
            moment,
            label,
            io.BytesIO(picture(seed)),
            by=scene.installer,
            note=f"Taken at {world.secret}",
        )[0]
        for seed, (moment, label) in enumerate(
            [("before", "P1"), ("before", "P2"), ("after", "P1"), ("after", "P2")]
        )
    ]
    PreStartCheckFactory(visit=visit, checked_by=scene.installer, note=f"Safe at {world.secret}")
    HandoverFactory(visit=visit, taken_by=scene.installer, signed_name=f"Signed by {world.secret}")
    return scene, photos[0]


@lru_cache
def picture(seed: int) -> bytes:
    """Drawing one takes longest; the same picture in every world also makes each doubt them all."""
    return loft_jpeg(seed)


def fit_and_certify(world: World) -> None:
    scene, world.photo = fitted(world, 1, GOOD_DEPTHS, 0)
    inspect(world.photo)
    world.job, world.home, world.visit = scene.job, scene.job.property, scene.visit
    world.survey = scene.survey
    world.assessment = assess_job(world.job.pk)
    world.certificate = issue_certificate(world.job.pk, world.people["compliance_officer"])
    world.issue_run = IssueRun.objects.create(
        company=world.company, begun_by=world.people["compliance_officer"], ended_at=A_MONDAY
    )
    world.check = world.visit.pre_start_checks.get()
    world.handover = world.visit.handovers.get()
    work(world)
    world.entry = LedgerEntry.objects.get(kind="jobs_photo", fact_id=world.photo.pk)


def work(world: World) -> None:
    """The visit as it went, and another of the same job that was stopped."""
    told = {"visit": world.visit, "recorded_by": world.people["installer"]}
    world.arrival = ArrivalFactory(
        **told, operative_ids=[world.operative.pk], let_in_by=f"A friend of {world.secret}"
    )
    world.work_step = WorkStepFactory(**told, note=f"Trays from {world.secret}")
    world.variation = VariationFactory(**told, reason=f"Boards of {world.secret}")
    world.leave = LeaveFactory(**told, note=f"Key back to {world.secret}")
    reason = f"Bats at {world.secret}"
    stopped = a_visit(world, world.job, 12, status="stopped", stop_reason=reason)
    world.stop = StopWorkFactory(
        visit=stopped, recorded_by=world.people["installer"], reason=reason
    )


def book(world: World) -> None:
    """A job that waits for its crew, with its layer plan; the crew has begun to measure."""
    world.booked_job = a_job(world, 2, "booked")
    survey, area = a_survey(world, world.booked_job, completed_at=timezone.now())
    world.booked_visit = a_visit(world, world.booked_job, 3)
    world.plan = plan_of(world, survey)
    scene = Scene(world.booked_job, survey, area, world.booked_visit, world.people["installer"])
    measure(scene, GOOD_DEPTHS)
    world.reading = world.booked_visit.depth_readings.first()
    world.upload = begin_upload(
        world.people["installer"], 9_000, encoded(told_of(world.booked_visit, note=world.secret))
    )


def plan_of(world: World, survey: Survey) -> LayerPlan:
    """Worked out once; the lofts are the same, so the other worlds get a copy."""
    known = LayerPlan.objects.first()
    if known is None:
        return make_layer_plan(world.booked_job, seconds=0.1)
    same = {f.name: getattr(known, f.name) for f in LayerPlan._meta.fields}
    for name in ("id", "job", "survey", "made_at"):
        del same[name]
    return LayerPlanFactory(job=world.booked_job, survey=survey, **same)


def keep_stock(world: World) -> None:
    """The crew's depot with a delivery, an order and a load taken from it; the crew's calendar."""
    company, planner = world.company, world.people["planner"]
    world.depot = Depot.objects.create(
        company=company, name=f"Depot {world.secret}", nation="england"
    )
    world.crew.depot = world.depot
    world.crew.save(update_fields=["depot"])
    world.stock_item = StockItem.objects.create(
        company=company, code=f"W-{world.secret}", name=f"Wool {world.secret}"
    )
    world.roll_type = CompanyRollTypeFactory(
        company=company, name=f"Own wool {world.secret}", entered_by=planner, is_active=False
    )
    (world.movement,) = receive_delivery(world.depot, {world.stock_item: 200}, by=planner)
    due_on = timezone.localdate() + timedelta(days=9)
    world.stock_order = place_order(
        world.depot, world.stock_item, 24, due_on, by=planner, note=f"Rung {world.secret}"
    )
    with patch("jobs.loading.when.today", A_MONDAY.date):
        world.loading = mark_loaded(world.crew, A_MONDAY.date(), 1, by=planner)
    _, world.calendar_token = renew_feed(world.crew, planner)


def plan_anew(world: World) -> None:
    """A visit that is needed with a time agreed, somebody away, and a plan to be answered."""
    planner, job = world.people["planner"], a_job(world, 6, "to_plan")
    start = timezone.now() + timedelta(days=40)
    during = (start, start + timedelta(hours=3))
    world.need = VisitNeed.objects.create(
        company=world.company, job=job, kind="fitting", part_hours=[11 / 6], note=world.secret
    )
    world.window = AgreedWindow.objects.create(need=world.need, during=during, note=world.secret)
    world.absence = Absence.objects.create(
        company=world.company, crew=world.crew, during=during, note=f"Flu at {world.secret}"
    )
    dearer = Prices(overtime_hour_min=75 + world.company.office_prices.count())
    world.prices = set_prices(world.company, dearer, by=planner, note=world.secret)
    world.run = PlanRun.objects.create(
        company=world.company,
        first_day=start.date(),
        from_moment=start,
        state="ready",
        because=f"Snow at {world.secret}",
        asked_by=planner,
    )
    world.proposal = ProposedVisit.objects.create(
        run=world.run, need=world.need, change="new", crew=world.crew, during=during, need_version=1
    )


def begin_survey(world: World) -> None:
    """A job whose survey is begun, with a visit today, so that pages of the day have something."""
    world.draft_job = a_job(world, 3, "to_survey")
    world.draft, _ = a_survey(world, world.draft_job)
    start = timezone.now().replace(hour=4, minute=0, second=0, microsecond=0)
    VisitFactory(
        job=world.draft_job,
        kind="survey",
        crew=world.crew,
        van=world.van,
        booked_by=world.people["planner"],
        during=(start, start + timedelta(hours=2)),
    )


def fall_short(world: World) -> None:
    scene, _ = fitted(world, 4, SHORT_DEPTHS, 6)
    assess_job(scene.job.pk)
    world.shortfall = scene.job.shortfalls.get()  # type: ignore[attr-defined]
    officer = world.people["compliance_officer"]
    world.waiver = record_waiver(world.shortfall, f"Ceiling of {world.secret} is weak", officer)


def send_spreadsheet(world: World) -> None:
    world.batch = IntakeBatch.objects.create(
        company=world.company,
        scheme=world.scheme,
        file_name=f"{world.secret}.csv",
        stored_name="intake/none.csv",
        sha256="0" * 64,
        state=IntakeBatch.State.PREVIEW,
        row_count=1,
        sent_by=world.people["planner"],
    )
    IntakeRow.objects.create(
        batch=world.batch,
        number=2,
        values={"reference": f"{world.secret}-9", "town": world.secret},
        problems=[{"field": "postcode", "message": "It is missing.", "remedy": "Add it."}],
        outcome=IntakeRow.Outcome.BAD,
    )


def propose(world: World) -> DepthRule:
    days = 100 + WORLDS.index(world.name)
    return DepthRule.objects.create(
        nation="england",
        starts_on=timezone.localdate() + timedelta(days=days),
        min_depth_mm=300,
        source="Asked for by a test",
        source_kind=DepthRule.SourceKind.COMMON_PRACTICE,
        proposed_by=world.people["compliance_officer"],
    )


def audit(world: World) -> None:
    """A round over the company's certified jobs, drawn, with a finding and its answer."""
    today, auditor = timezone.localdate(), world.people["auditor"]
    terms = RoundTerms(
        name=f"Round {world.secret}",
        period_from=today - timedelta(days=2),
        period_to=today + timedelta(days=2),
        company=world.company,
    )
    nonce = hashlib.sha256(f"nonce of {world.secret}".encode())
    committed = hashlib.sha256(nonce.digest()).hexdigest()
    world.round = commit_round(world.scheme, auditor, terms, committed)
    world.round = draw_sample(seal_population(world.round), nonce.hexdigest())
    world.seal = make_seal()
    world.drawn = world.round.drawn_jobs.get(job=world.job)
    world.finding = record_finding(
        world.drawn, auditor, severity="minor", text=f"Gap at {world.secret}"
    )
    world.answer = answer_finding(
        world.finding,
        world.people["compliance_officer"],
        f"Filled by {world.secret}",
        files=[io.BytesIO(picture(4))],
    )
    world.answer_file = world.answer.evidence.get()
    reply = f"Not seen at {world.secret}"
    world.reply = reply_to_answer(world.finding, auditor, accepted=False, text=reply)
    world.finding_draft = draft_finding(
        world.drawn, auditor, severity="major", text=f"Loose at {world.secret}"
    )
    world.follow_up = ask_follow_up(world.finding, "call_back", auditor)
    world.series = SwitchingStep.objects.create(
        scheme=world.scheme,
        company=world.company,
        crew=world.crew,
        severity="tightened",
        stopped=True,
        why=f"Stopped at {world.secret}",
        recorded_by=auditor,
    )
    world.job_read = mark_read(world.drawn, auditor)
    world.measured = world.visit.depth_readings.first()
    again = Again(world.measured.pk, 281, note=f"Beside the hatch of {world.secret}")
    (world.remeasurement,) = remeasure(world.drawn, auditor, [again])
    note_access(world.job, auditor, "audit reading")
