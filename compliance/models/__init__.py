"""Rules, verdicts, what follows from them, and the records an auditor can believe."""

from __future__ import annotations

from compliance.models.assessments import Assessment, Shortfall
from compliance.models.audits import (
    AuditRound,
    DrawnJob,
    EvidenceAccess,
    Finding,
    FindingAnswer,
    PopulationJob,
    PopulationSeal,
)
from compliance.models.certificates import Certificate, CertificateWithdrawal
from compliance.models.exchanges import AnswerEvidence, FindingDraft, FindingReply, JobRead
from compliance.models.ledger import LedgerEntry, LedgerLeaf, LedgerNode, Seal
from compliance.models.remeasurements import Remeasurement
from compliance.models.rule_runs import RuleRun, RuleRunJob
from compliance.models.rules import DepthRule
from compliance.models.waivers import Waiver, WaiverAnswer

__all__ = [
    "AnswerEvidence",
    "Assessment",
    "AuditRound",
    "Certificate",
    "CertificateWithdrawal",
    "DepthRule",
    "DrawnJob",
    "EvidenceAccess",
    "Finding",
    "FindingAnswer",
    "FindingDraft",
    "FindingReply",
    "JobRead",
    "LedgerEntry",
    "LedgerLeaf",
    "LedgerNode",
    "PopulationJob",
    "PopulationSeal",
    "Remeasurement",
    "RuleRun",
    "RuleRunJob",
    "Seal",
    "Shortfall",
    "Waiver",
    "WaiverAnswer",
]
