"""Letting a scheme's auditors see jobs: by a sealed population, the only way there is."""

from __future__ import annotations

import hashlib
from datetime import date
from typing import Any

from compliance.ledger.seals import make_seal
from compliance.models import AuditRound, PopulationJob, PopulationSeal
from jobs.models import Job
from tests.factories import UserFactory

HASH = "5" * 64


def let_auditors_see(*jobs: Job, auditor: Any = None, strata: Any = ()) -> AuditRound:
    """Seal a round whose population is these jobs of one scheme, whatever stage they are at."""
    scheme = jobs[0].scheme
    rounds = AuditRound.objects.filter(scheme=scheme).count()
    day = date(2020 + rounds, 1, 1)
    commitment = hashlib.sha256(f"{scheme.pk}, {rounds}".encode()).hexdigest()
    record = AuditRound.objects.create(
        scheme=scheme,
        auditor=auditor or UserFactory(role="auditor", scheme=scheme),
        name="A round of tests",
        period_from=day,
        period_to=day,
        nonce_commitment=commitment,
    )
    PopulationJob.objects.bulk_create(PopulationJob(round=record, job=job) for job in jobs)
    PopulationSeal.objects.create(
        round=record,
        size=len(jobs),
        sha256=HASH,
        nonce_commitment=commitment,
        strata=list(strata),
    )
    record.seal = make_seal()
    record.population_size, record.population_sha256 = len(jobs), HASH
    record.state = AuditRound.State.SEALED
    record.save()
    return record
