"""Who opens the pages of proof."""

from __future__ import annotations

from jobs.models import Role

# Lists of a company's proofs.
PROOF_READERS = (Role.COMPLIANCE_OFFICER, Role.PLANNER)
# One job's verdict and certificate, each only of jobs the person may see.
VERDICT_READERS = (Role.COMPLIANCE_OFFICER, Role.PLANNER, Role.AUDITOR)
# Who books the visit that puts a shortfall right, or asks for another look.
SENDERS = (Role.COMPLIANCE_OFFICER, Role.PLANNER)
DECIDERS = (Role.COMPLIANCE_OFFICER,)
# Which of them, and for which job, says `compliance.second_people`.
WAIVER_ANSWERERS = (Role.COMPLIANCE_OFFICER, Role.PLANNER)
RULE_KEEPERS = (Role.COMPLIANCE_OFFICER, Role.PLATFORM_ADMIN)
RULE_READERS = (*RULE_KEEPERS, Role.PLANNER, Role.AUDITOR)
PACK_TAKERS = (Role.COMPLIANCE_OFFICER, Role.AUDITOR)
LEDGER_READERS = (*PROOF_READERS, Role.AUDITOR, Role.PLATFORM_ADMIN)
LEDGER_SEALERS = (Role.COMPLIANCE_OFFICER, Role.PLATFORM_ADMIN)
