"""Certified jobs that were drawn in an audit round, unread: where tests of reading begin."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import timedelta

from django.utils import timezone

from compliance.audits.rounds import RoundTerms, commit_round, draw_sample, seal_population
from compliance.models import AuditRound, DrawnJob
from jobs.models import User
from tests.compliance.scene import Scene, certified_scene
from tests.factories import UserFactory

NONCE = hashlib.sha256(b"a secret of this scene").hexdigest()
COMMITMENT = hashlib.sha256(bytes.fromhex(NONCE)).hexdigest()


@dataclass(frozen=True)
class AuditScene:
    """scenes: the drawn jobs of one company, in the order they were fitted."""

    scenes: tuple[Scene, ...]
    round: AuditRound
    auditor: User

    @property
    def scene(self) -> Scene:
        return self.scenes[0]

    @property
    def drawn(self) -> DrawnJob:
        rows = DrawnJob.objects.select_related("round", "job__property", "job__company")
        return rows.get(round=self.round, job=self.scene.job)

    def person(self, role: str) -> User:
        return UserFactory(role=role, company=self.scene.company)


def audit_scene(jobs: int = 1) -> AuditScene:
    """A round over `jobs` certified jobs, all of them drawn."""
    first, _ = certified_scene()
    more = [
        certified_scene(company=first.company, scheme=first.job.scheme)[0] for _ in range(1, jobs)
    ]
    first.job.scheme.companies.add(first.company)
    auditor = UserFactory(role="auditor", scheme=first.job.scheme)
    today = timezone.localdate()
    terms = RoundTerms(name="Autumn", period_from=today - timedelta(days=7), period_to=today)
    record = commit_round(auditor.scheme, auditor, terms, COMMITMENT)
    record = draw_sample(seal_population(record), NONCE)
    return AuditScene((first, *more), record, auditor)
