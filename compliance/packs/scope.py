"""Which facts go into a pack: by what the ledger's entries say, not by what tables hold now.

A row that was deleted by force still has its entry, and so still comes into the pack, where the
verifier names it. `LedgerEntry.belongs_to`, set by the trigger that writes the entry, tells which
job, visit, photo, certificate, drawn job or finding its fact is of.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Protocol

from django.apps import apps
from django.db import connection
from django.db.models import QuerySet

from compliance.ledger.facts import OF_PEOPLE
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS
from compliance.models import Seal
from jobs.errors import Refused
from jobs.models import Job, Role, User, Visit

MOST_JOBS = 20_000
STEP = 5000

# What belongs to a fact rather than to a job, by the kind of that fact.
BENEATH = {
    "jobs_photo": "photo",
    "compliance_certificate": "certificate",
    "compliance_drawnjob": "drawn_job",
    "compliance_finding": "finding",
}
# What an entry of a kind leads to further entries by: as they say it in `belongs_to`, and where its
# number stands. Read without trust in the payload, which may have been tampered with.
NAMED_IN = {
    "jobs_jobevent": ("property", re.compile(r'"property_id": (\d+)')),
    "jobs_visitevent": ("visit", re.compile(r'"row_id": (\d+)')),
    "jobs_surveyevent": ("survey", re.compile(r'"row_id": (\d+)')),
    "jobs_visitneedevent": ("need", re.compile(r'"row_id": (\d+)')),
    "compliance_assessment": ("rule", re.compile(r'"rule_id": (\d+)')),
}
# What a fact of an audit names, directly or by way of another.
OF_AUDITS = frozenset({"round", "drawn_job", "finding", "answer", "follow_up"})

# Who opened what is told on the job's page, and is nothing to be carried away.
NOT_OF_JOBS = frozenset({"compliance_evidenceaccess"})
NOT_FOR_AUDITORS = NOT_OF_JOBS | {
    "jobs_visitneedevent",
    "jobs_barredcrewevent",
    "jobs_agreedwindowevent",
    "compliance_legalholdevent",
}


class PackExtra(Protocol):
    """What a pack holds beside the facts of its jobs, for whoever reads it."""

    about: str
    """A chapter of the README, in lines of at most 100 characters."""

    def facts(self) -> dict[str, list[int]]:
        """Ids, by kind, of further facts that belong to no job."""
        ...

    def files(self, seal: Seal) -> Iterator[tuple[str, Iterator[bytes]]]:
        """Names below data/ and bytes of further files, one after the other."""
        ...


@dataclass(frozen=True, slots=True)
class PackScope:
    """What a pack is of. jobs: ids, or None for the whole ledger.

    title: in words, for its README. withheld: "table.column" of hashed columns whose text is
    not given. left_out: "photos" or "certificates", where files stay behind. kinds_apart: kinds
    of facts that are not for whom the pack is made. seals: ids of Seals that it must hold.
    extra: what comes with it for its readers, such as an audit's report.
    """

    jobs: Sequence[int] | None
    title: str
    withheld: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()
    kinds_apart: frozenset[str] = frozenset()
    seals: tuple[int, ...] = ()
    extra: PackExtra | None = None

    @property
    def is_whole(self) -> bool:
        return self.jobs is None


@cache
def audit_kinds() -> frozenset[str]:
    """Kinds of facts of audits: what auditors draw, find, ask and measure, and what is answered."""
    models = {model._meta.db_table: model for model in apps.get_models()}
    return frozenset(
        table
        for table in KINDS
        if OF_AUDITS & {f.name for f in models[table]._meta.concrete_fields if f.is_relation}
    )


def scope_for(
    user: User,
    jobs: QuerySet[Job],
    title: str,
    *,
    left_out: Iterable[str] = (),
    seals: Iterable[int] = (),
) -> PackScope:
    """A pack of those of `jobs` that this person may see.

    An auditor gets no householder's name or signature, only their hashes; audits in progress
    are the auditor's alone.

    Raises:
        Refused: none of the jobs is visible, or they are too many for one pack.
    """
    ids = list(jobs.visible_to(user).order_by("pk").values_list("pk", flat=True)[: MOST_JOBS + 1])  # type: ignore[attr-defined]
    if not ids:
        raise Refused(
            "There is no job among these that you may see.",
            field="jobs",
            remedy="Choose other dates, or another job.",
        )
    if len(ids) > MOST_JOBS:
        raise Refused(
            f"More than {MOST_JOBS:,} jobs are too many for one pack.",
            field="jobs",
            remedy="Choose a shorter period.",
        )
    auditor = user.role == Role.AUDITOR
    return PackScope(
        ids,
        title,
        personal_columns() if auditor else frozenset(),
        frozenset(left_out),
        NOT_FOR_AUDITORS if auditor else NOT_OF_JOBS | audit_kinds(),
        tuple(seals),
    )


def personal_columns() -> frozenset[str]:
    """Hashed columns that are not for auditors: names, signatures, where phones were, and words
    that stand in what can be edited."""
    of_people = OF_PEOPLE | {kind: history.words for kind, history in HISTORIES.items()}
    return frozenset(f"{kind}.{column}" for kind, words in of_people.items() for column in words)


def entries_of(scope: PackScope, seal: Seal) -> array[int]:
    """Ids of the entries of a pack that the Seal covers, in the order of the tree."""
    if scope.jobs is None:
        return _ids(
            "SELECT entry_id FROM compliance_ledgerleaf WHERE position < %s ORDER BY position",
            [seal.tree_size],
        )
    found = _belonging(scope.jobs)
    for kind, facts in (scope.extra.facts() if scope.extra else {}).items():
        found.extend(_entries_of_facts(kind, facts))
    return _ids(
        "SELECT l.entry_id FROM compliance_ledgerleaf l "
        "JOIN compliance_ledgerentry e ON e.id = l.entry_id "
        "WHERE l.entry_id = ANY(%s) AND l.position < %s AND e.kind <> ALL(%s) "
        "ORDER BY l.position",
        [found.tolist(), seal.tree_size, list(scope.kinds_apart)],
    )


def _belonging(jobs: Sequence[int]) -> array[int]:
    """Entries of the jobs and of their visits; then those beneath what was found, and so on."""
    visits = Visit.objects.filter(job__in=jobs).values_list("pk", flat=True)
    keys = [f"job {pk}" for pk in jobs] + [f"visit {pk}" for pk in visits]
    found, seen = array("q"), set(keys)
    while keys:
        beneath: list[str] = []
        for start in range(0, len(keys), STEP):
            with connection.cursor() as cursor:
                cursor.execute(
                    "SELECT id, kind, fact_id, CASE WHEN kind = ANY(%s) THEN payload END "
                    "FROM compliance_ledgerentry WHERE belongs_to = ANY(%s)",
                    [list(NAMED_IN), keys[start : start + STEP]],
                )
                for entry, kind, fact, payload in cursor:
                    found.append(entry)
                    if kind in BENEATH:
                        beneath.append(f"{BENEATH[kind]} {fact}")
                    elif kind in NAMED_IN and (named := NAMED_IN[kind][1].search(payload)):
                        beneath.append(f"{NAMED_IN[kind][0]} {named[1]}")
        keys = sorted(set(beneath) - seen)
        seen.update(keys)
    return found


def _entries_of_facts(kind: str, facts: list[int]) -> array[int]:
    return _ids(
        "SELECT id FROM compliance_ledgerentry WHERE kind = %s AND fact_id = ANY(%s)",
        [kind, facts],
    )


def _ids(sql: str, parameters: list[object]) -> array[int]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        found = array("q")
        while rows := cursor.fetchmany(STEP):
            found.extend(row[0] for row in rows)
        return found
