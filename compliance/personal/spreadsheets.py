"""Spreadsheets that homes came with: forgotten when the contact's retention period has passed.

Rows that became jobs are erased with their job; here it is about the files, and about rows that
were never taken in and so belong to no job. The period counts from the day a file was sent.
"""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.db.models import Exists, OuterRef

from compliance.models import BytesToRemove
from jobs.models import Company, IntakeBatch, IntakeRow
from jobs.models.phone_records import ERASED

State = IntakeBatch.State
AT_REST = (State.PREVIEW, State.IMPORTED, State.REFUSED)


def forget_spreadsheets(company: Company, sent_by_day: date) -> int:
    """Erase files sent until a day, and their rows without a job. Returns how many files."""
    with transaction.atomic():
        old = IntakeBatch.objects.select_for_update().filter(
            company=company, state__in=AT_REST, sent_at__date__lte=sent_by_day
        )
        batches = list(old.exclude(stored_name=""))
        ids = [batch.pk for batch in batches]
        rows = list(IntakeRow.objects.filter(batch__in=ids, job__isnull=True))
        for row in rows:
            row.values, row.problems = dict.fromkeys(row.values, ERASED), []
        IntakeRow.objects.bulk_update(rows, ["values", "problems"], batch_size=500)
        _forget_files(ids)
        IntakeBatch.objects.filter(pk__in=ids, state=State.PREVIEW).update(
            state=State.REFUSED, refusal="It was not taken in and has been erased. Send it again."
        )
        return len(ids)


def _forget_files(batches: list[int]) -> None:
    """Have the bytes removed that no other spreadsheet shares."""
    shared = IntakeBatch.objects.filter(stored_name=OuterRef("stored_name")).exclude(pk__in=batches)
    named = IntakeBatch.objects.filter(pk__in=batches)
    alone = set(named.exclude(Exists(shared)).values_list("stored_name", flat=True))
    BytesToRemove.objects.bulk_create(
        (BytesToRemove(name=name) for name in sorted(alone)), ignore_conflicts=True
    )
    named.update(stored_name="", file_name=ERASED)
