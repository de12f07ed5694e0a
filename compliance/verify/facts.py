"""The facts of a pack by kind and id, as far as others refer to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from compliance.ledger.facts import ERASED_HASHES, erased_things
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import erased_as
from compliance.verify.layout import (
    ANSWER_EVIDENCE,
    ASSESSMENT,
    CERTIFICATE,
    CHECK,
    DRAWN_JOB,
    ERASURE,
    HANDOVER,
    HASHED,
    INSPECTION,
    MOVEMENT,
    PHOTO,
    POPULATION_SEAL,
    READING,
    WITHDRAWAL,
    WORK_STEP,
)

NAMES = {
    READING: "reading",
    PHOTO: "photo",
    INSPECTION: "photo inspection",
    MOVEMENT: "stock movement",
    "jobs_layerplan": "layer plan",
    "jobs_vanloading": "load of a van",
    "compliance_certificatekey": "key of certificates",
    "compliance_evidenceaccess": "opening of evidence",
    "compliance_populationjob": "job of a population",
    "compliance_jobread": "mark of reading",
    CHECK: "pre-start check",
    HANDOVER: "handover",
    WORK_STEP: "step of the work",
    "jobs_arrival": "arrival",
    "jobs_variation": "variation",
    "jobs_stopwork": "stop of the work",
    "jobs_leave": "leaving",
    ASSESSMENT: "assessment",
    CERTIFICATE: "certificate",
    WITHDRAWAL: "certificate withdrawal",
    "compliance_waiver": "waiver",
    "compliance_waiveranswer": "answer to a waiver",
    ERASURE: "erasure",
    "compliance_answerevidence": "evidence of an answer",
    "compliance_answerinspection": "inspection of an answer's picture",
    "compliance_findingreply": "auditor's reply",
    "compliance_auditwidening": "widening",
    "compliance_switchingstep": "switching step",
    "compliance_auditfollowup": "follow-up of an audit",
    "compliance_auditfollowupanswer": "answer to a follow-up",
    "compliance_remeasurement": "re-measurement",
}

# Fields that others are compared with; of other kinds only the id is kept.
KEPT: dict[str, tuple[str, ...]] = {
    READING: ("x_mm", "y_mm", "depth_mm", "allowance"),
    PHOTO: ("sha256", "moment", "job_id"),
    INSPECTION: ("photo_id", "perceptual_hash"),
    MOVEMENT: ("depot_id", "item_id", "effect"),
    CHECK: ("safe_to_start",),
    HANDOVER: ("all_done", "not_done_reason"),
    WORK_STEP: ("outcome", "note"),
    ASSESSMENT: ("job_id", "number", "verdict", "rule_id", "inputs_sha256"),
    CERTIFICATE: ("job_id", "assessment_id", "code", "pdf_sha256", "key_fingerprint"),
    POPULATION_SEAL: ("round_id", "size", "sha256", "nonce_commitment", "strata"),
    DRAWN_JOB: ("round_id", "job_id", "draw_order", "stratum"),
    ANSWER_EVIDENCE: ("sha256",),
}

# Columns that name another fact, and its kind. `replaces_id` names one of the same kind.
LINKS: dict[str, tuple[tuple[str, str], ...]] = {
    INSPECTION: (("photo_id", PHOTO),),
    MOVEMENT: (("loading_id", "jobs_vanloading"),),
    "compliance_jobread": (("drawn_job_id", DRAWN_JOB),),
    CERTIFICATE: (("assessment_id", ASSESSMENT),),
    WITHDRAWAL: (("certificate_id", CERTIFICATE),),
    "compliance_waiveranswer": (("waiver_id", "compliance_waiver"),),
    "compliance_auditfollowup": (("finding_id", "compliance_finding"),),
    "compliance_auditfollowupanswer": (("follow_up_id", "compliance_auditfollowup"),),
    "compliance_answerevidence": (("answer_id", "compliance_findinganswer"),),
    "compliance_answerinspection": (("evidence_id", ANSWER_EVIDENCE),),
    "compliance_findingreply": (("answer_id", "compliance_findinganswer"),),
    "compliance_remeasurement": (("reading_id", READING),),
}


def name_of(kind: str, fact: dict[str, Any], position: int | None = None) -> str:
    """What a person calls it, such as "reading 12"."""
    name = NAMES.get(kind, kind)
    if kind in HISTORIES:
        return event_name(kind, fact["id"], fact.get("row_id"), position)
    said = f"{name} {fact['id']}"
    if kind == CERTIFICATE:
        said += f" ({fact.get('code')})"
    return said if position is None else f"{said}, entry {position}"


def event_name(kind: str, number: int, row: Any, position: int | None) -> str:
    """Such as "edit 34 of visit 12"."""
    said = f"edit {number} of {HISTORIES[kind].noun} {'' if row is None else row}".rstrip()
    return said if position is None else f"{said}, entry {position}"


def thing_name(table: str) -> str:
    """What a person calls a row of a table of facts, or of one that can be edited."""
    edited = next((h.noun for h in HISTORIES.values() if h.of == table), table)
    return NAMES.get(table, edited)


@dataclass(slots=True)
class Facts:
    """hashed_columns: kind -> columns that entered as hashes, as the pack says.

    rows: kind -> id -> the kept fields. hashed: (kind, id, column) -> "sha256:...".

    links: (kind, id, kind and id of what it names). contents: texts of inputs and arithmetic.

    erased: (kind, id, column) that an Erasure of this very pack took away; words of an event are
    named by the row that it is of, which `event_rows` tells by kind and id of the event.
    """

    hashed_columns: dict[str, list[str]] = field(default_factory=dict)
    rows: dict[str, dict[int, tuple[Any, ...]]] = field(default_factory=dict)
    hashed: dict[tuple[str, int, str], str] = field(default_factory=dict)
    links: list[tuple[str, int, str, Any]] = field(default_factory=list)
    contents: dict[tuple[str, int, str], str] = field(default_factory=dict)
    erased: set[tuple[str, int, str]] = field(default_factory=set)
    event_rows: dict[tuple[str, int], int] = field(default_factory=dict)

    def add(self, kind: str, fact: dict[str, Any]) -> bool:
        """Remember a fact. True when it was there already."""
        number = fact["id"]
        rows = self.rows.get(kind)
        if rows is None:
            rows = self.rows[kind] = {}
        elif number in rows:
            return True
        rows[number] = tuple([fact.get(name) for name in KEPT.get(kind, ())])
        if fact.get("replaces_id") is not None:
            self.links.append((kind, number, kind, fact["replaces_id"]))
        for column, of in LINKS.get(kind, ()):
            if column not in fact or fact[column] is not None:
                self.links.append((kind, number, of, fact.get(column)))
        for column in self.hashed_columns.get(kind, ()):
            self._keep_hash(kind, fact, column)
        if kind == ERASURE:
            self.erased |= set(erased_things(fact.get("items")))
        return False

    def _keep_hash(self, kind: str, fact: dict[str, Any], column: str) -> None:
        """Blank words of an event have no salt: their hash says so, and nothing is to be given."""
        hashed = fact.get(column)
        if not isinstance(hashed, str) or not hashed.startswith(HASHED):
            return
        if kind in HISTORIES:
            if hashed in ERASED_HASHES:
                return
            self.event_rows[kind, fact["id"]] = fact["row_id"]
        self.hashed[kind, fact["id"], column] = hashed

    def is_erased(self, kind: str, number: int, column: str) -> bool:
        """Whether an Erasure took it away; of an event any word that was erased from its row."""
        if kind not in HISTORIES:
            return (kind, number, column) in self.erased
        of = erased_as(kind, {"row_id": self.event_rows.get((kind, number))})
        return of is not None and any((*of, word) in self.erased for word in HISTORIES[kind].words)

    def values(self, kind: str, number: Any) -> dict[str, Any] | None:
        """The kept fields of a fact by name, or None when there is no such fact."""
        row = self.rows.get(kind, {}).get(number)
        return None if row is None else dict(zip(KEPT.get(kind, ()), row, strict=True))

    def keep_contents(self, kind: str, number: int, column: str, text: str) -> None:
        if kind in (ASSESSMENT, CERTIFICATE):
            self.contents[kind, number, column] = text

    def name(self, kind: str, number: int) -> str:
        known = self.values(kind, number) or {}
        return name_of(kind, {"id": number, **known})
