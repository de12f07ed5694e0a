"""Audit rounds of the demo: one closed, one drawn and half read, one only begun."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, timedelta

from compliance.audits.findings import answer_finding, record_finding
from compliance.audits.rounds import (
    RoundTerms,
    close_round,
    commit_round,
    draw_sample,
    seal_population,
)
from compliance.models import AuditRound, Finding
from deploy.demo.people import Cast

FINDINGS = (
    ("minor", "Eaves tray missing in one rafter bay beside the chimney."),
    ("observation", "The gauge is hard to read in one photo; the reading agrees."),
)


def make_rounds(cast: Cast, now: datetime) -> None:
    """Rounds of the first scheme, by the same functions as any auditor's."""
    today = now.date()
    first = _drawn_round(
        cast, "First five weeks", today - timedelta(days=75), today - timedelta(days=36)
    )
    _read(cast, first, share=1.0)
    close_round(first)
    second = _drawn_round(
        cast, "Weeks six to eight", today - timedelta(days=35), today - timedelta(days=15)
    )
    _read(cast, second, share=0.4)
    _begin(cast, "The last fortnight", today - timedelta(days=14), today)


def _nonce(name: str) -> bytes:
    """A secret for the demo alone: an auditor's own is random and known to nobody else."""
    return hashlib.sha256(f"invented secret of {name}".encode()).digest()


def _begin(cast: Cast, name: str, start: date, end: date) -> AuditRound:
    terms = RoundTerms(name=name, period_from=start, period_to=end)
    commitment = hashlib.sha256(_nonce(name)).hexdigest()
    return commit_round(cast.schemes[0], cast.people["auditor"], terms, commitment)


def _drawn_round(cast: Cast, name: str, start: date, end: date) -> AuditRound:
    sealed = seal_population(_begin(cast, name, start, end))
    return draw_sample(sealed, _nonce(name).hex())


def _read(cast: Cast, record: AuditRound, share: float) -> None:
    """Read the first jobs drawn; findings on two of them, the first one answered."""
    drawn = list(record.drawn_jobs.select_related("round").order_by("draw_order"))
    for nth, job in enumerate(drawn[: max(1, int(len(drawn) * share))]):
        severity, text = FINDINGS[nth // 3] if nth in (2, 5) else (Finding.Severity.SOUND, "")
        finding = record_finding(job, cast.people["auditor"], severity=severity, text=text)
        if nth == 2:
            answer_finding(
                finding, cast.people["compliance"], "Crew Wren goes back on its next free day."
            )
