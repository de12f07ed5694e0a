"""The facts of a pack by kind and id, as far as others refer to them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from marshal import dumps, loads
from typing import Any

from compliance.ledger.facts import ERASED_HASHES, erased_things
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import erased_as
from compliance.verify.faults import Unsound
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
from compliance.verify.scratch import LARGEST, STEP, in_steps, is_number, open_scratch

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
    POPULATION_SEAL: "sealed population",
    DRAWN_JOB: "drawn job",
    "compliance_finding": "finding",
    "compliance_findinganswer": "answer to a finding",
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
    INSPECTION: ("photo_id", "perceptual_hash", "inspector_version"),
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


class Facts:
    """Facts with the fields that are kept of them, what they name, and their hashed columns.

    hashed_columns: kind -> columns that entered as hashes, as the pack says. twice: kind, id and
    number of entries whose fact had entered before; whoever tells of them empties it.

    They lie on disk (`compliance.verify.scratch`), so that many take no more memory than few; kept
    fields by `marshal`, since nobody else reads or writes them.
    """

    def __init__(self, hashed_columns: Mapping[str, Sequence[str]] | None = None) -> None:
        self.hashed_columns = dict(hashed_columns or {})
        self.twice: list[tuple[str, int, int]] = []
        self._rows: list[tuple[Any, ...]] = []
        self._links: list[tuple[Any, ...]] = []
        self._hashes: list[tuple[Any, ...]] = []
        self._plain: list[tuple[str, int, str]] = []
        self._lists = open_scratch(
            "fact (kind, id, entry, kept, PRIMARY KEY (kind, id)) WITHOUT ROWID",
            "link (kind, id, of_kind, named)",
            "hashed (kind, id, col, hash, row, given, PRIMARY KEY (kind, id, col)) WITHOUT ROWID",
            "erased (kind, id, col, PRIMARY KEY (kind, id, col)) WITHOUT ROWID",
            "plain (kind, id, col, PRIMARY KEY (kind, id, col)) WITHOUT ROWID",
            "verdict (job, number)",
        )

    def add(self, kind: str, fact: dict[str, Any], entry: int) -> None:
        """Remember a fact. entry: the how manyth it is. Raises Unsound for an id beyond reason."""
        number = fact["id"]
        if not is_number(number):
            raise Unsound(f"{NAMES.get(kind, kind)} {number}", "has an id that no table gives")
        kept = KEPT.get(kind)
        values = None if kept is None else dumps([fact.get(name) for name in kept])
        self._rows.append((kind, number, entry, values))
        if fact.get("replaces_id") is not None:
            self._links.append((kind, number, kind, _id(fact["replaces_id"])))
        for column, of in LINKS.get(kind, ()):
            if column not in fact or fact[column] is not None:
                self._links.append((kind, number, of, _id(fact.get(column))))
        for column in self.hashed_columns.get(kind, ()):
            self._keep_hash(kind, fact, column)
        if kind == ERASURE:
            erased = list(erased_things(fact.get("items")))
            self._lists.executemany("INSERT OR IGNORE INTO erased VALUES (?, ?, ?)", erased)
        if len(self._rows) >= STEP:
            self._write()

    def _keep_hash(self, kind: str, fact: dict[str, Any], column: str) -> None:
        """Blank words of an event have no salt: their hash says so, and nothing is to be given.

        What entered before its column was hashed stands there as it was written.
        """
        hashed = fact.get(column)
        if not isinstance(hashed, str) or not hashed.startswith(HASHED):
            if hashed not in (None, ""):
                self._plain.append((kind, fact["id"], column))
            return
        row = None
        if kind in HISTORIES:
            if hashed in ERASED_HASHES:
                return
            row = _id(fact["row_id"])
        self._hashes.append((kind, fact["id"], column, _bytes(hashed), row))

    def _write(self) -> sqlite3.Connection:
        """What waits is written; gives where everything then stands."""
        if not self._rows:
            return self._lists
        sql = "INSERT OR IGNORE INTO fact VALUES (?, ?, ?, ?)"
        rows, self._rows = self._rows, []
        if self._lists.executemany(sql, rows).rowcount < len(rows):
            entered = "SELECT entry FROM fact WHERE kind = ? AND id = ?"
            self.twice += (
                (kind, number, entry)
                for kind, number, entry, _ in rows
                if self._lists.execute(entered, (kind, number)).fetchone()[0] != entry
            )
        self._lists.executemany("INSERT INTO link VALUES (?, ?, ?, ?)", self._links)
        self._lists.executemany(
            "INSERT OR IGNORE INTO hashed VALUES (?, ?, ?, ?, ?, 0)", self._hashes
        )
        self._lists.executemany(
            "INSERT INTO verdict VALUES (?, ?)",
            (loads(row[3])[:2] for row in rows if row[0] == ASSESSMENT),
        )
        self._lists.executemany("INSERT OR IGNORE INTO plain VALUES (?, ?, ?)", self._plain)
        self._links, self._hashes, self._plain = [], [], []
        return self._lists

    def counts(self) -> dict[str, int]:
        """Numbers of facts by kind."""
        return dict(self._write().execute("SELECT kind, count(*) FROM fact GROUP BY kind"))

    def of_kind(self, kind: str) -> Iterator[tuple[int, dict[str, Any]]]:
        """Id and kept fields of each fact of a kind, in the order of their ids."""
        sql = "SELECT id, kept FROM fact WHERE id > ? AND kind = ? ORDER BY id LIMIT ?"
        for number, kept in in_steps(self._write(), sql, -LARGEST - 1, kind):
            yield number, _values(kind, kept)

    def values(self, kind: str, number: Any) -> dict[str, Any] | None:
        """The kept fields of a fact by name, or None when there is no such fact."""
        if not is_number(number):
            return None
        sql = "SELECT kept FROM fact WHERE kind = ? AND id = ?"
        found = self._write().execute(sql, (kind, number)).fetchone()
        return None if found is None else _values(kind, found[0])

    def missing_links(self) -> Iterator[tuple[str, int, str, Any]]:
        """Kind and id of facts that name another which is not there, and what they name."""
        yield from self._write().execute(
            "SELECT l.kind, l.id, l.of_kind, l.named FROM link l LEFT JOIN fact f "
            "ON f.kind = l.of_kind AND f.id = l.named WHERE f.id IS NULL ORDER BY l.rowid"
        )

    def gaps_in_verdicts(self) -> Iterator[tuple[Any, list[int]]]:
        """Jobs whose assessments are not numbered from 1 on without a gap, with the numbers."""
        jobs = self._write().execute(
            "SELECT job FROM verdict GROUP BY job HAVING min(number) <> 1 "
            "OR max(number) <> count(*) OR count(DISTINCT number) <> count(*)"
        )
        for (job,) in jobs:
            found = self._lists.execute("SELECT number FROM verdict WHERE job IS ?", (job,))
            yield job, sorted(number for (number,) in found)

    def take_hash(self, kind: Any, number: Any, column: Any) -> tuple[str, bool] | None:
        """The hash that a column entered as, and whether it was asked for before; None for none."""
        if type(kind) is not str or not is_number(number) or type(column) is not str:
            return None
        key = (
            kind.encode(errors="replace").decode(),
            number,
            column.encode(errors="replace").decode(),
        )
        where = "WHERE kind = ? AND id = ? AND col = ?"
        found = self._write().execute(f"SELECT hash, given FROM hashed {where}", key).fetchone()
        if found is None:
            return None
        self._lists.execute(f"UPDATE hashed SET given = 1 {where}", key)
        return found[0].decode("utf-8", "surrogatepass"), bool(found[1])

    def hashes_not_taken(self) -> Iterator[tuple[str, int, str]]:
        """Kind, id and column of hashes whose text nobody showed."""
        yield from self._write().execute(
            "SELECT kind, id, col FROM hashed WHERE NOT given ORDER BY kind, id, col"
        )

    def is_erased(self, kind: str, number: int, column: str) -> bool:
        """Whether an Erasure of this very pack took it away; of an event any word that was erased
        from its row."""
        erased = "SELECT 1 FROM erased WHERE kind = ? AND id = ? AND col = ?"
        lists = self._write()
        if kind not in HISTORIES:
            return lists.execute(erased, (kind, number, column)).fetchone() is not None
        rows = "SELECT row FROM hashed WHERE kind = ? AND id = ? AND col = ?"
        found = lists.execute(rows, (kind, number, column)).fetchone()
        of = erased_as(kind, {"row_id": found[0] if found else None})
        return of is not None and any(
            lists.execute(erased, (*of, word)).fetchone() for word in HISTORIES[kind].words
        )

    def erased_by_kind(self) -> dict[str, int]:
        """Numbers of facts of which something was erased."""
        sql = "SELECT kind, count(DISTINCT id) FROM erased GROUP BY kind ORDER BY kind"
        return dict(self._write().execute(sql))

    def erased_but_plain(self) -> dict[str, int]:
        """Numbers of facts whose entries tell in plain words what was erased from their rows."""
        sql = (
            "SELECT kind, count(DISTINCT id) FROM erased JOIN plain USING (kind, id, col) "
            "GROUP BY kind ORDER BY kind"
        )
        return dict(self._write().execute(sql))

    def name(self, kind: str, number: int) -> str:
        known = self.values(kind, number) or {}
        return name_of(kind, {"id": number, **known})


def _values(kind: str, kept: bytes | None) -> dict[str, Any]:
    return {} if kept is None else dict(zip(KEPT[kind], loads(kept), strict=True))


def _id(named: Any) -> Any:
    """What a fact names, as a table can hold it; what is no id is found to be missing."""
    return named if named is None or is_number(named) else repr(named)


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")
