"""Who reads and who writes proofs over the API."""

from __future__ import annotations

from jobs.models import Role

VERDICT_READERS = frozenset(
    {Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER, Role.AUDITOR}
)
PROOF_READERS = frozenset({Role.PLANNER, Role.COMPLIANCE_OFFICER, Role.AUDITOR})
SENDERS = frozenset({Role.PLANNER, Role.COMPLIANCE_OFFICER})
OFFICER = frozenset({Role.COMPLIANCE_OFFICER})
RULE_KEEPERS = frozenset({Role.COMPLIANCE_OFFICER, Role.PLATFORM_ADMIN})
PACK_TAKERS = frozenset({Role.COMPLIANCE_OFFICER, Role.AUDITOR})
EVERYBODY = frozenset(Role)
NOBODY: frozenset[Role] = frozenset()
