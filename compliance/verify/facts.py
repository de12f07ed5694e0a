"""The facts of a pack by kind and id, as far as others refer to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from compliance.ledger.facts import erased_things
from compliance.verify.layout import (
    ANSWER_EVIDENCE,
    ASSESSMENT,
    CERTIFICATE,
    CHECK,
    DRAWN_JOB,
    ERASURE,
    HANDOVER,
    HASHED,
    PHOTO,
    POPULATION_SEAL,
    READING,
    WITHDRAWAL,
    WORK_STEP,
)

NAMES = {
    READING: "reading",
    PHOTO: "photo",
    "jobs_photoinspection": "photo inspection",
    CHECK: "pre-start check",
    HANDOVER: "handover",
    WORK_STEP: "step of the work",
    ASSESSMENT: "assessment",
    CERTIFICATE: "certificate",
    WITHDRAWAL: "certificate withdrawal",
    "compliance_waiver": "waiver",
    "compliance_waiveranswer": "answer to a waiver",
    ERASURE: "erasure",
    "compliance_answerevidence": "evidence of an answer",
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
    PHOTO: ("sha256", "moment"),
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
    "jobs_photoinspection": (("photo_id", PHOTO),),
    CERTIFICATE: (("assessment_id", ASSESSMENT),),
    WITHDRAWAL: (("certificate_id", CERTIFICATE),),
    "compliance_waiveranswer": (("waiver_id", "compliance_waiver"),),
    "compliance_auditfollowup": (("finding_id", "compliance_finding"),),
    "compliance_auditfollowupanswer": (("follow_up_id", "compliance_auditfollowup"),),
    "compliance_answerevidence": (("answer_id", "compliance_findinganswer"),),
    "compliance_findingreply": (("answer_id", "compliance_findinganswer"),),
    "compliance_remeasurement": (("reading_id", READING),),
}


def name_of(kind: str, fact: dict[str, Any], position: int | None = None) -> str:
    """What a person calls it, such as "reading 12"."""
    name = NAMES.get(kind, kind)
    said = f"{name} {fact['id']}"
    if kind == CERTIFICATE:
        said += f" ({fact.get('code')})"
    return said if position is None else f"{said}, entry {position}"


@dataclass(slots=True)
class Facts:
    """hashed_columns: kind -> columns that entered as hashes, as the pack says.

    rows: kind -> id -> the kept fields. hashed: (kind, id, column) -> "sha256:...".

    links: (kind, id, kind and id of what it names). contents: texts of inputs and arithmetic.

    erased: (kind, id, column) that an Erasure of this very pack took away.
    """

    hashed_columns: dict[str, list[str]] = field(default_factory=dict)
    rows: dict[str, dict[int, tuple[Any, ...]]] = field(default_factory=dict)
    hashed: dict[tuple[str, int, str], str] = field(default_factory=dict)
    links: list[tuple[str, int, str, Any]] = field(default_factory=list)
    contents: dict[tuple[str, int, str], str] = field(default_factory=dict)
    erased: set[tuple[str, int, str]] = field(default_factory=set)

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
            entered = fact.get(column)
            if isinstance(entered, str) and entered.startswith(HASHED):
                self.hashed[kind, number, column] = entered
        if kind == ERASURE:
            self.erased |= set(erased_things(fact.get("items")))
        return False

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
