"""What of a household's words stands in plain in the ledger, where no erasure reaches it.

Words enter hashed and salted today. What entered before that stays as it was written, for nobody
can change an entry: whoever erases is told how much of it there is.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import Any

from compliance.certificates.contents import NOT_ALL_DONE
from compliance.judged_words import repeats_words
from compliance.ledger.facts import ERASABLE, FACTS, HASHED_SINCE
from compliance.models import Assessment, Certificate, LedgerEntry
from compliance.personal.held import TITLES
from compliance.verify.layout import HASHED
from jobs.models import Job

ONCE_PLAIN = {
    table: frozenset(columns) & HASHED_SINCE
    for table, columns in FACTS.items()
    if table in ERASABLE and set(columns) & HASHED_SINCE
}
"""Table -> columns that enter as a hash today and may stand in older entries as they were."""


@dataclass(frozen=True, slots=True)
class PlainWords:
    """Records of one kind that stand in plain. title: of its kind, such as "Waivers"."""

    title: str
    records: int


def plain_in_ledger(job: Job) -> list[PlainWords]:
    """Entries of a job in which words stand as they were written; erased from their rows or not."""
    entries = LedgerEntry.objects.filter(belongs_to__in=_things(job), kind__in=ONCE_PLAIN)
    found = Counter(
        kind for kind, payload in entries.values_list("kind", "payload") if _plain(kind, payload)
    )
    return [PlainWords(TITLES[kind], found[kind]) for kind in ONCE_PLAIN if found[kind]]


def plain_in_verdicts(job: Job) -> list[PlainWords]:
    """Verdicts of before that repeat the crew's words, and certificates that say what was left
    undone: what was judged and issued stays as it is."""
    inputs = Assessment.objects.filter(job=job).values_list("inputs", flat=True)
    printed = Certificate.objects.filter(job=job).values_list("contents__exceptions", flat=True)
    counted = (
        ("compliance_assessment", sum(map(repeats_words, inputs))),
        ("compliance_certificate", sum(map(_says_why, printed))),
    )
    return [PlainWords(TITLES[table], number) for table, number in counted if number]


def _says_why(exceptions: list[str] | None) -> bool:
    return any(said.startswith(NOT_ALL_DONE) for said in exceptions or ())


def _things(job: Job) -> list[str]:
    """What entries of a job say that they are of."""
    return [
        f"job {job.pk}",
        *(f"visit {pk}" for pk in job.visits.values_list("pk", flat=True)),
        *(f"photo {pk}" for pk in job.photos.values_list("pk", flat=True)),
        *(f"certificate {pk}" for pk in job.certificates.values_list("pk", flat=True)),
    ]


def _plain(kind: str, payload: str) -> bool:
    fact: dict[str, Any] = json.loads(payload)["fact"]
    said = (fact.get(column) for column in ONCE_PLAIN[kind])
    return any(word not in (None, "") and not str(word).startswith(HASHED) for word in said)
