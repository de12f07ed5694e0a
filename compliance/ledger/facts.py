"""Which tables hold facts, and how a fact's row becomes the payload of its entry.

The trigger that writes entries is made in the migration `facts_enter_the_ledger`; this is the
same rule for whoever checks. To add a table of facts: a migration that gives it the trigger,
and a line here.
"""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from compliance.ledger.histories import HISTORIES

# Table -> columns that enter as SHA-256 of their content, with the row's salt where it has one.
FACTS: dict[str, tuple[str, ...]] = {
    "jobs_prestartcheck": ("note",),
    "jobs_photo": ("note",),
    "jobs_photoinspection": ("exif_latitude_deg", "exif_longitude_deg"),
    "jobs_depthreading": ("correction_reason",),
    "jobs_handover": ("signed_name", "signature_svg", "not_done_reason"),
    "jobs_arrival": ("let_in_by", "latitude_deg", "longitude_deg", "note"),
    "jobs_workstep": ("note",),
    "jobs_variation": ("reason",),
    "jobs_stopwork": ("reason",),
    "jobs_leave": ("latitude_deg", "longitude_deg", "note"),
    "jobs_layerplan": ("quantities",),
    "jobs_vanloading": (),
    "jobs_stockmovement": (),
    "compliance_assessment": ("inputs", "arithmetic"),
    "compliance_certificate": ("contents",),
    "compliance_certificatewithdrawal": ("reason",),
    "compliance_waiver": ("reason",),
    "compliance_waiveranswer": ("note",),
    "compliance_erasure": (),
    "compliance_certificatekey": (),
    "compliance_evidenceaccess": (),
    "compliance_populationjob": (),
    "compliance_populationseal": (),
    "compliance_drawnjob": (),
    "compliance_auditwidening": (),
    "compliance_switchingstep": (),
    "compliance_finding": (),
    "compliance_findinganswer": (),
    "compliance_auditfollowup": (),
    "compliance_auditfollowupanswer": (),
    "compliance_answerevidence": (),
    "compliance_answerinspection": (),
    "compliance_findingreply": (),
    "compliance_remeasurement": (),
    "compliance_jobread": (),
}

HASHED_FOR_LENGTH = frozenset({"jobs_layerplan", "compliance_assessment", "compliance_certificate"})
"""Tables of which columns enter hashed because they are long, not because they are personal."""

BLANK_ENTERS_PLAIN = frozenset({"jobs_depthreading"})
"""Tables with many rows and few words: an empty word of them enters as it is."""

# Table -> what an Erasure may take away; of a photo its bytes, which stand in no column.
ERASABLE: dict[str, frozenset[str]] = {
    table: frozenset(columns)
    for table, columns in FACTS.items()
    if columns and table not in HASHED_FOR_LENGTH
}
ERASABLE["jobs_photo"] |= {"bytes"}

HASHED_SINCE = frozenset(
    {
        "note",
        "reason",
        "not_done_reason",
        "correction_reason",
        "exif_latitude_deg",
        "exif_longitude_deg",
    }
)
"""Columns that once entered as they were; a row of those days says so, by `words_hashed`."""

# Table -> columns that say who somebody is or where a phone was: nothing for an auditor's pack.
OF_PEOPLE: dict[str, tuple[str, ...]] = {
    "jobs_handover": ("signed_name", "signature_svg"),
    "jobs_arrival": ("let_in_by", "latitude_deg", "longitude_deg"),
    "jobs_leave": ("latitude_deg", "longitude_deg"),
}
ERASABLE |= {h.of: frozenset(h.words) for h in HISTORIES.values() if h.erasable}

NO_SALT = "00000000-0000-0000-0000-000000000000"
ERASED_HASHES = tuple(
    f"sha256:{sha256(f'{NO_SALT}{mark}'.encode()).hexdigest()}" for mark in ("", "[erased]")
)
"""How the marks of an erasure would enter: what stands in a column that was erased."""


def erased_things(items: Any) -> Iterator[tuple[str, int, str]]:
    """Table, id and column of what an Erasure took away.

    It is not believed of anything that cannot be erased, nor when it has not its proper shape.
    """
    if not isinstance(items, dict):
        return
    for table, rows in items.items():
        known = ERASABLE.get(table, frozenset())
        for row_id, columns in rows.items() if isinstance(rows, dict) else ():
            for column in columns if isinstance(columns, list) else ():
                if isinstance(column, str) and column in known and row_id.isdecimal():
                    yield table, int(row_id), column


def entered_hashed(row: str, table: str, column: str) -> str:
    """SQL: whether a hashed column of a row of `table` named `row` entered the ledger as a hash."""
    if column not in HASHED_SINCE:
        return "true"
    hashed = f"coalesce(to_jsonb({row}) ->> 'words_hashed', 'true') = 'true'"
    if table in BLANK_ENTERS_PLAIN:
        hashed += f" AND coalesce(to_jsonb({row}) ->> '{column}', '') <> ''"
    return hashed


def fact_expression(row: str, table: str) -> str:
    """SQL for the fact of a row of `table` named `row`, as the trigger would write it today.

    What entered in plain words before it was hashed stays so.
    """
    fact = f"to_jsonb({row})"
    salt = f"coalesce(to_jsonb({row}) ->> 'salt', '')"
    for column in FACTS[table]:
        content = f"{salt} || coalesce(to_jsonb({row}) ->> '{column}', '')"
        digest = f"encode(sha256(convert_to({content}, 'UTF8')), 'hex')"
        value = f"to_jsonb('sha256:' || {digest})"
        if column in HASHED_SINCE:
            plain = f"to_jsonb({row}) -> '{column}'"
            value = f"CASE WHEN {entered_hashed(row, table, column)} THEN {value} ELSE {plain} END"
        fact = f"jsonb_set({fact}, ARRAY['{column}'], {value})"
    return f"({fact} - 'salt')"
