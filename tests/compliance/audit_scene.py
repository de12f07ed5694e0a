"""A round that was drawn and read: where tests of pictures, report and pack begin."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import timedelta

from django.utils import timezone

from compliance.audits.findings import record_finding
from compliance.audits.rounds import RoundTerms, commit_round, draw_sample, seal_population
from compliance.ledger.seals import make_seal
from compliance.models import AnswerEvidence, AuditRound, Finding, FindingAnswer
from jobs.evidence.content_store import keep
from jobs.models import Company, Crew, Job, User
from tests.compliance.pack_scene import stored_photo
from tests.compliance.scene import certified_scene
from tests.factories import UserFactory

NONCE = hashlib.sha256(b"a secret of the auditor").hexdigest()
COMMITMENT = hashlib.sha256(bytes.fromhex(NONCE)).hexdigest()
ANSWER_FILE = b"what the company showed"


@dataclass(frozen=True)
class ReadRound:
    """Three jobs of two companies, drawn whole by strata: one sound, two defective.

    The first company's job is major and answered with a file; the second's is minor.
    """

    record: AuditRound
    auditor: User
    officer: User
    jobs: tuple[Job, ...]
    crews: tuple[Crew, ...]

    @property
    def company(self) -> Company:
        return self.jobs[0].company

    def words_of_households(self) -> list[str]:
        homes = [job.property for job in self.jobs]
        return [home.address_line_1 for home in homes] + ["A. Householder"]


def read_round() -> ReadRound:
    first, _ = certified_scene(photo=stored_photo)
    scheme = first.job.scheme
    second, _ = certified_scene(photo=stored_photo, company=first.company, scheme=scheme)
    other, _ = certified_scene(photo=stored_photo, scheme=scheme)
    scenes = (first, second, other)
    for scene in scenes:
        scheme.companies.add(scene.job.company)
    auditor = UserFactory(role="auditor", scheme=scheme)
    officer = UserFactory(role="compliance_officer", company=first.company)
    make_seal()  # so that the one over the population is not the ledger's first
    record = _drawn(auditor)
    by_job = {drawn.job_id: drawn for drawn in record.drawn_jobs.all()}
    for scene, severity in zip(scenes, ("major", "sound", "minor"), strict=True):
        text = "" if severity == "sound" else f"Gap in the {severity} place."
        record_finding(by_job[scene.job.pk], auditor, severity=severity, text=text)
    _answer(record, officer)
    return ReadRound(
        record,
        auditor,
        officer,
        tuple(scene.job for scene in scenes),
        tuple(scene.visit.crew for scene in scenes),
    )


def _drawn(auditor: User) -> AuditRound:
    today = timezone.localdate()
    terms = RoundTerms(
        name="Autumn",
        period_from=today - timedelta(days=7),
        period_to=today,
        plan="confidence",
        defective_share=0.3,
        strata_by="company",
    )
    begun = commit_round(auditor.scheme, auditor, terms, COMMITMENT)
    return draw_sample(seal_population(begun), NONCE)


def _answer(record: AuditRound, officer: User) -> None:
    finding = Finding.objects.get(drawn_job__round=record, severity="major")
    kept = keep(io.BytesIO(ANSWER_FILE), "answers", limit_bytes=1000)
    answer = FindingAnswer.objects.create(
        finding=finding, answered_by=officer, text="Put right on the same day."
    )
    AnswerEvidence.objects.create(
        finding=finding,
        answer=answer,
        sha256=kept.sha256,
        size_bytes=kept.size_bytes,
        media_type="text/plain",
        stored_name=kept.name,
        added_by=officer,
    )
