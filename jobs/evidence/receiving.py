"""What every record from a phone goes through: lock, know it again, be in order."""

from __future__ import annotations

from typing import Any, TypeVar
from uuid import UUID

from django.db import models

from jobs.errors import Conflict
from jobs.models import Visit
from jobs.stages import lock_job

Record = TypeVar("Record", bound=models.Model)

FITTING_KINDS = (Visit.Kind.FITTING, Visit.Kind.CALL_BACK)


def lock_visit(visit: Visit) -> Visit:
    """The visit as it stands now, its job and itself locked until the transaction ends."""
    lock_job(visit.job_id)
    locked: Visit = (
        Visit.objects.select_for_update(of=("self",))
        .select_related("job__property", "job__company", "job__scheme", "crew")
        .get(pk=visit.pk)
    )
    return locked


def received_before(model: type[Record], visit: Visit, client_key: UUID | None) -> Record | None:
    """The record this phone sent under the same key, or None.

    Raises:
        Conflict: the key came with another visit.
    """
    if client_key is None:
        return None
    rows: Any = model._default_manager
    found: Record | None = rows.filter(client_key=client_key).first()
    if found is not None and found.visit_id != visit.pk:  # type: ignore[attr-defined]
        raise Conflict(
            "This key came with a record of another visit.",
            field="client_key",
            remedy="Make a new key for each record.",
        )
    return found


def require_fitting(visit: Visit) -> None:
    """Raises Conflict for a visit at which nothing is laid."""
    if visit.kind not in FITTING_KINDS:
        raise Conflict(
            f"This is a {visit.get_kind_display().lower()}; nothing is laid on it.",
            field="visit",
            remedy="Choose the fitting visit or call-back.",
        )


def require_status(visit: Visit, *allowed: str, remedy: str) -> None:
    """Raises Conflict when the visit stands elsewhere than where the record belongs."""
    if visit.status not in allowed:
        raise Conflict(
            f"The visit is “{visit.get_status_display().lower()}”.", field="visit", remedy=remedy
        )


def change_status(visit: Visit, status: str, **values: Any) -> None:
    """Set the status and what goes with it, and count the version up."""
    visit.status = status
    for name, value in values.items():
        setattr(visit, name, value)
    visit.version += 1
    visit.save(update_fields=["status", "version", *values])
