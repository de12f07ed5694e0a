"""A population that is cheap to make: certified jobs of two crews, without papers and photos."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.utils import timezone

from compliance.audits.findings import record_finding
from compliance.audits.rounds import (
    RoundTerms,
    close_round,
    commit_round,
    draw_sample,
    seal_population,
)
from compliance.models import (
    Assessment,
    AuditRound,
    Certificate,
    DepthRule,
    DrawnJob,
    Finding,
    Shortfall,
)
from jobs.models import Company, Crew, Job, Scheme, User
from tests.factories import (
    CompanyFactory,
    CrewFactory,
    JobFactory,
    PhotoFactory,
    PropertyFactory,
    SchemeFactory,
    UserFactory,
    VisitFactory,
)

_secrets: dict[str, str] = {}
"""By commitment: each round has a secret of its own."""


def new_commitment() -> str:
    nonce = hashlib.sha256(f"secret {len(_secrets)} of the auditor".encode()).hexdigest()
    commitment = hashlib.sha256(bytes.fromhex(nonce)).hexdigest()
    _secrets[commitment] = nonce
    return commitment


def secret_of(record: AuditRound) -> str:
    return _secrets[record.nonce_commitment]


@dataclass(frozen=True)
class Population:
    """Eight jobs of a calm crew in Leicester, four of a risky one in Nottingham: of these one has
    a photo with a warning, one was flagged before, one has equal readings; a fifth is short."""

    scheme: Scheme
    company: Company
    auditor: User
    officer: User
    planner: User
    calm: Crew
    risky: Crew
    jobs: tuple[Job, ...]

    def of(self, crew: Crew) -> set[int]:
        return set(
            Job.objects.filter(pk__in=[j.pk for j in self.jobs], visits__crew=crew).values_list(
                "pk", flat=True
            )
        )

    def begin(self, **terms: Any) -> AuditRound:
        today = timezone.localdate()
        asked = {
            "name": "Autumn",
            "period_from": today - timedelta(days=2),
            "period_to": today,
            **terms,
        }
        return commit_round(self.scheme, self.auditor, RoundTerms(**asked), new_commitment())

    def draw(self, **terms: Any) -> AuditRound:
        sealed = seal_population(self.begin(**terms))
        return draw_sample(sealed, secret_of(sealed))

    def read(self, record: AuditRound, defective: int = 0, severity: str = "major") -> None:
        """Read what is unread of a round; the first `defective` jobs are found so."""
        unread = record.drawn_jobs.filter(findings=None).select_related("round", "job")
        for nth, drawn in enumerate(unread.order_by("draw_order")):
            found = severity if nth < defective else "sound"
            text = "Bare strip at the eaves." if nth < defective else ""
            record_finding(drawn, self.auditor, severity=found, text=text)

    def closed(self, defective: int = 0, **terms: Any) -> AuditRound:
        record = self.draw(**terms)
        self.read(record, defective)
        return close_round(record)

    def finding(self, severity: str = "major") -> Finding:
        record = self.draw()
        drawn: DrawnJob = record.drawn_jobs.select_related("round", "job").first()
        return record_finding(drawn, self.auditor, severity=severity, text="Bare strip.")


def population() -> Population:
    company, scheme = CompanyFactory(), SchemeFactory()
    scheme.companies.add(company)
    calm, risky = CrewFactory(company=company), CrewFactory(company=company)
    jobs = [_certified(company, scheme, calm, "LE1 1AA") for _ in range(8)]
    jobs.append(_certified(company, scheme, risky, "NG1 1AA"))
    jobs.append(_certified(company, scheme, risky, "NG1 1AA", flagged=True))
    jobs.append(_certified(company, scheme, risky, "NG1 1AA"))
    jobs.append(_certified(company, scheme, risky, "NG1 1AA", equal=True))
    photo = PhotoFactory(visit=jobs[10].visits.get())
    photo.inspections.create(
        inspector_version="0", readable=True, warnings=[{"code": "dark", "text": "Too dark."}]
    )
    _flag(_job(company, scheme, risky, "NG1 1AA", stage="short"))
    return Population(
        scheme=scheme,
        company=company,
        auditor=UserFactory(role="auditor", scheme=scheme),
        officer=UserFactory(role="compliance_officer", company=company),
        planner=UserFactory(role="planner", company=company),
        calm=calm,
        risky=risky,
        jobs=tuple(jobs),
    )


def _job(company: Company, scheme: Scheme, crew: Crew, postcode: str, stage: str) -> Job:
    home = PropertyFactory(company=company, postcode=postcode)
    job = JobFactory(company=company, scheme=scheme, property=home, stage=stage)
    VisitFactory(job=job, crew=crew, status="done", during=_free_hours(crew))
    return job


def _free_hours(crew: Crew) -> tuple[Any, Any]:
    start = timezone.now() - timedelta(days=60) + timedelta(hours=5 * crew.visits.count())
    return start, start + timedelta(hours=4)


def _certified(
    company: Company,
    scheme: Scheme,
    crew: Crew,
    postcode: str,
    *,
    equal: bool = False,
    flagged: bool = False,
) -> Job:
    job = _job(company, scheme, crew, postcode, "certified")
    shortfall = _flag(job) if flagged else None
    kinds = ["all_equal"] if equal else []
    assessment = _assessment(job, "meets", {"depths": {"suspicion_kinds": kinds}})
    if shortfall is not None:
        shortfall.closed_by, shortfall.closed_at = assessment, timezone.now()
        shortfall.save()
    Certificate.objects.create(
        job=job,
        assessment=assessment,
        code=f"T{job.pk:08d}",
        pdf_name="none",
        pdf_sha256="0" * 64,
        contents={},
    )
    return job


def _assessment(job: Job, verdict: str, arithmetic: dict[str, Any]) -> Assessment:
    return Assessment.objects.create(
        job=job,
        number=job.assessments.count() + 1,
        rule=DepthRule.objects.earliest("pk"),
        engine_version="0",
        verdict=verdict,
        inputs={},
        inputs_sha256="0" * 64,
        arithmetic=arithmetic,
    )


def _flag(job: Job) -> Shortfall:
    return Shortfall.objects.create(
        job=job,
        assessment=_assessment(job, "short", {}),
        deficit_mm=40,
        deficit_area_m2=2,
        due_on=timezone.localdate() + timedelta(days=30),
    )
