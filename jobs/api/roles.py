"""Who reads and who writes what the planner keeps, over the API."""

from __future__ import annotations

from jobs.models import Role

OFFICE = frozenset({Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER})
JOB_READERS = OFFICE | {Role.INSTALLER, Role.AUDITOR}
PLANNER = frozenset({Role.PLANNER})
NOBODY: frozenset[Role] = frozenset()
EVERYBODY = frozenset(Role)
