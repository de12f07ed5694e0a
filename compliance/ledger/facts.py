"""Which tables hold facts, and how a fact's row becomes the payload of its entry.

The trigger that writes entries is made in the migration `facts_enter_the_ledger`; this is the
same rule for whoever checks. To add a table of facts: a migration that gives it the trigger,
and a line here.
"""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

# Table -> columns that enter as SHA-256 of their content, with the row's salt where it has one.
FACTS: dict[str, tuple[str, ...]] = {
    "jobs_prestartcheck": (),
    "jobs_photo": (),
    "jobs_photoinspection": (),
    "jobs_depthreading": (),
    "jobs_handover": ("signed_name", "signature_svg"),
    "jobs_arrival": ("let_in_by", "latitude_deg", "longitude_deg"),
    "jobs_workstep": (),
    "jobs_variation": (),
    "jobs_stopwork": (),
    "jobs_leave": ("latitude_deg", "longitude_deg"),
    "compliance_assessment": ("inputs", "arithmetic"),
    "compliance_certificate": ("contents",),
    "compliance_certificatewithdrawal": (),
    "compliance_waiver": (),
    "compliance_waiveranswer": (),
    "compliance_erasure": (),
    "compliance_populationseal": (),
    "compliance_drawnjob": (),
    "compliance_auditwidening": (),
    "compliance_switchingstep": (),
    "compliance_finding": (),
    "compliance_findinganswer": (),
    "compliance_auditfollowup": (),
    "compliance_auditfollowupanswer": (),
    "compliance_answerevidence": (),
    "compliance_findingreply": (),
    "compliance_remeasurement": (),
}

# Table -> what an Erasure may take away; of a photo its bytes, which stand in no column.
ERASABLE: dict[str, frozenset[str]] = {
    "jobs_photo": frozenset({"bytes"}),
    **{table: frozenset(FACTS[table]) for table in ("jobs_handover", "jobs_arrival", "jobs_leave")},
}

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


def fact_expression(row: str, hashed: tuple[str, ...]) -> str:
    """SQL for the fact of a row named `row`, as the trigger would write it today."""
    fact = f"to_jsonb({row})"
    salt = f"coalesce(to_jsonb({row}) ->> 'salt', '')"
    for column in hashed:
        content = f"{salt} || coalesce(to_jsonb({row}) ->> '{column}', '')"
        digest = f"encode(sha256(convert_to({content}, 'UTF8')), 'hex')"
        fact = f"jsonb_set({fact}, ARRAY['{column}'], to_jsonb('sha256:' || {digest}))"
    return f"({fact} - 'salt')"
