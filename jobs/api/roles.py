"""Who reads and who writes what the planner keeps, over the API."""

from __future__ import annotations

from jobs.models import Role

OFFICE = frozenset({Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER})
JOB_READERS = OFFICE | {Role.INSTALLER, Role.AUDITOR}
PLANNER = frozenset({Role.PLANNER})
PLATFORM = frozenset({Role.PLATFORM_ADMIN})
ACCOUNT_KEEPERS = PLATFORM | PLANNER
EVERYBODY = frozenset(Role)
