"""Which facts go into a pack: by what the ledger's entries say, not by what tables hold now.

A row that was deleted by force still has its entry, and so still comes into the pack, where the
verifier names it. `LedgerEntry.belongs_to`, set by the trigger that writes the entry, tells which
job, visit, photo, certificate, drawn job or finding its fact is of.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import Protocol

from django.apps import apps
from django.db import connection
from django.db.models import QuerySet

from compliance.ledger.facts import OF_PEOPLE
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS
from compliance.models import Seal
from compliance.packs.scratch import Entries, Scratch, WholeLedger
from jobs.errors import Refused
from jobs.models import Job, Role, User, Visit

MOST_JOBS = 20_000
STEP = 500

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

    def facts(self) -> Mapping[str, Iterable[int]]:
        """Ids, by kind, of further facts that belong to no job; read while they are taken."""
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


def entries_of(scope: PackScope, seal: Seal, scratch: Scratch) -> Entries:
    """The entries of a pack that the Seal covers; `scratch` holds which, unless it is all."""
    if scope.jobs is None:
        return WholeLedger(seal.tree_size)
    for jobs in batched(scope.jobs):
        visits = Visit.objects.filter(job__in=jobs).values_list("pk", flat=True)
        keys = [f"job {pk}" for pk in jobs] + [f"visit {pk}" for pk in visits]
        _take_belonging(scope, seal, keys, scratch)
    for kind, facts in (scope.extra.facts() if scope.extra else {}).items():
        for some in batched(facts):
            condition = "e.kind = %s AND e.fact_id = ANY(%s)"
            scratch.add(_places(scope, seal, condition, [kind, some])[0])
    return scratch


def batched(numbers: Iterable[int]) -> Iterator[list[int]]:
    """STEP of them at a time."""
    left = iter(numbers)
    while some := list(islice(left, STEP)):
        yield some


def _take_belonging(scope: PackScope, seal: Seal, keys: list[str], scratch: Scratch) -> None:
    """Entries of what the keys name; then those beneath what was found, and so on."""
    new = [key for key in keys if scratch.is_new(key)]
    for start in range(0, len(new), STEP):
        some = new[start : start + STEP]
        found, beneath = _places(scope, seal, "e.belongs_to = ANY(%s)", [some])
        scratch.add(found)
        _take_belonging(scope, seal, beneath, scratch)


def _places(
    scope: PackScope, seal: Seal, condition: str, parameters: list[object]
) -> tuple[list[tuple[int, int]], list[str]]:
    """Position and id of the entries that the pack takes, and the keys of what lies beneath any."""
    places: list[tuple[int, int]] = []
    beneath: list[str] = []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT e.id, e.kind, e.fact_id, CASE WHEN e.kind = ANY(%s) THEN e.payload END, "
            "l.position FROM compliance_ledgerentry e "
            f"LEFT JOIN compliance_ledgerleaf l ON l.entry_id = e.id WHERE {condition}",
            [list(NAMED_IN), *parameters],
        )
        for entry, kind, fact, payload, position in cursor:
            if kind in BENEATH:
                beneath.append(f"{BENEATH[kind]} {fact}")
            elif kind in NAMED_IN and (named := NAMED_IN[kind][1].search(payload)):
                beneath.append(f"{NAMED_IN[kind][0]} {named[1]}")
            covered = position is not None and position < seal.tree_size
            if covered and kind not in scope.kinds_apart:
                places.append((position, entry))
    return places, beneath
