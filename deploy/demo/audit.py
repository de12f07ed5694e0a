"""Audit rounds of the demo: closed, drawn and half read, widened after too many defects, only
begun, and one that was given up. Each by the same functions as any auditor's."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from typing import Any

from compliance.audits.findings import answer_finding, record_finding
from compliance.audits.follow_up import ask_follow_up, turn_down
from compliance.audits.outcome import outcome_of
from compliance.audits.rounds import (
    RoundTerms,
    close_round,
    commit_round,
    draw_sample,
    give_up_round,
    seal_population,
    widen_round,
)
from compliance.models import AuditRound, DrawnJob, Finding
from deploy.demo.people import Cast

SOUND = (Finding.Severity.SOUND, "")
MINOR = (Finding.Severity.MINOR, "Eaves tray missing in one rafter bay beside the chimney.")
OBSERVED = (
    Finding.Severity.OBSERVATION,
    "The gauge is hard to read in one photo; the reading agrees.",
)
MAJOR = (Finding.Severity.MAJOR, "Bare strip of half a metre along the north eaves.")
CRITICAL = (Finding.Severity.CRITICAL, "A downlight is covered and its fire hood is missing.")


def make_rounds(cast: Cast, now: datetime) -> None:
    """Rounds of the first scheme."""
    today = now.date()

    def days(first: int, last: int) -> dict[str, Any]:
        return {
            "period_from": today - timedelta(days=first),
            "period_to": today - timedelta(days=last),
        }

    first = _drawn_round(cast, "First five weeks", **days(75, 36))
    _read(cast, first, {2: MINOR, 5: OBSERVED}, share=1.0, answered=2)
    close_round(first)
    second = _drawn_round(cast, "Weeks six to eight", **days(35, 15), level="III")
    _read(cast, second, {2: OBSERVED}, share=0.4)
    _lost(cast, "Crew Heron, secret lost", crew=cast.crews["Crew Heron"], **days(75, 36))
    _widened(cast, "Crew Heron, all autumn", crew=cast.crews["Crew Heron"], **days(75, 1))
    _by_risk(cast, "By crew and risk", **days(75, 1))
    _begin(cast, "The last fortnight", **days(14, 0))


def _nonce(name: str) -> bytes:
    """A secret for the demo alone: an auditor's own is random and known to nobody else."""
    return hashlib.sha256(f"invented secret of {name}".encode()).digest()


def _begin(cast: Cast, name: str, **terms: Any) -> AuditRound:
    commitment = hashlib.sha256(_nonce(name)).hexdigest()
    asked = RoundTerms(name=name, **terms)
    return commit_round(cast.schemes[0], cast.people["auditor"], asked, commitment)


def _drawn_round(cast: Cast, name: str, **terms: Any) -> AuditRound:
    sealed = seal_population(_begin(cast, name, **terms))
    return draw_sample(sealed, _nonce(name).hex())


def _lost(cast: Cast, name: str, **terms: Any) -> None:
    """Sealed, and then the secret could not be found again."""
    sealed = seal_population(_begin(cast, name, **terms))
    give_up_round(sealed, "The note with the secret was lost with a phone (invented).")


def _by_risk(cast: Cast, name: str, **terms: Any) -> None:
    """A bigger sample, drawn apart by crew and looking harder where risk is; half of each read."""
    risky = _drawn_round(
        cast,
        name,
        company=cast.company,
        plan=AuditRound.Plan.CONFIDENCE,
        defective_share=0.12,
        strata_by=AuditRound.StrataBy.CREW,
        allocation=AuditRound.Allocation.RISK,
        **terms,
    )
    _read(cast, risky, {2: OBSERVED, 8: MINOR}, every=2)


def _widened(cast: Cast, name: str, **terms: Any) -> None:
    """Not accepted, so more was drawn; call-backs and a withdrawal are asked for."""
    record = _drawn_round(cast, name, level="III", aql=2.5, **terms)
    auditor, officer = cast.people["auditor"], cast.people["compliance"]
    found = _read(cast, record, {0: CRITICAL, 1: MAJOR, 3: MINOR}, share=1.0)
    by_class = {finding.severity: finding for finding in found}
    if CRITICAL[0] in by_class:
        ask_follow_up(by_class[CRITICAL[0]], "withdrawal", auditor)
        ask_follow_up(by_class[CRITICAL[0]], "call_back", auditor)
    if MAJOR[0] in by_class:
        ask_follow_up(by_class[MAJOR[0]], "call_back", auditor)
    if MINOR[0] in by_class:
        asked = ask_follow_up(by_class[MINOR[0]], "call_back", auditor)
        turn_down(asked, officer, "The tray was fitted on 3 November (invented); see our answer.")
    if outcome_of(record).may_widen:
        widen_round(record, "Two serious defects among the first jobs of one crew.", auditor)


def _photo_of(drawn: DrawnJob) -> str:
    photo = drawn.job.photos.filter(moment="after").order_by("pk").first()
    return f"photo:{photo.pk}" if photo else ""


def _read(
    cast: Cast,
    record: AuditRound,
    findings: dict[int, tuple[str, str]],
    share: float = 1.0,
    answered: int | None = None,
    every: int = 1,
) -> list[Finding]:
    """Read the first jobs drawn, or every other one; `findings` by their place from 0, the rest
    is sound."""
    drawn: list[DrawnJob] = list(
        record.drawn_jobs.select_related("round", "job").order_by("draw_order")
    )
    found = []
    for nth, job in list(enumerate(drawn))[: max(1, int(len(drawn) * share)) : every]:
        severity, text = findings.get(nth, SOUND)
        finding = record_finding(
            job,
            cast.people["auditor"],
            severity=severity,
            text=text,
            concerns=_photo_of(job) if severity == Finding.Severity.OBSERVATION else "",
        )
        found.append(finding)
        if nth == answered:
            answer_finding(
                finding, cast.people["compliance"], "Crew Wren goes back on its next free day."
            )
    return found
