"""Rules, verdicts, what follows from them, and the records an auditor can believe."""

from __future__ import annotations

from compliance.models.answer_inspections import AnswerInspection
from compliance.models.assessments import Assessment, Shortfall
from compliance.models.audit_follow_ups import (
    AuditFollowUp,
    AuditFollowUpAnswer,
    SwitchingStep,
)
from compliance.models.audits import (
    AuditRound,
    AuditWidening,
    DrawnJob,
    PopulationJob,
    PopulationSeal,
)
from compliance.models.certificate_keys import CertificateKey
from compliance.models.certificates import Certificate, CertificateWithdrawal
from compliance.models.exchanges import (
    AnswerEvidence,
    FindingDraft,
    FindingReply,
    JobRead,
    PointsSeen,
)
from compliance.models.findings import EvidenceAccess, Finding, FindingAnswer
from compliance.models.history_salts import HistorySalt
from compliance.models.issue_runs import IssueRun, IssueRunJob
from compliance.models.ledger import LedgerEntry, LedgerLeaf, LedgerNode, Seal
from compliance.models.personal import (
    BytesToRemove,
    Erasure,
    ErasureRequest,
    LegalHold,
    RetentionPeriod,
)
from compliance.models.remeasurements import Remeasurement
from compliance.models.rule_runs import PreviewSeen, RuleRun, RuleRunJob
from compliance.models.rules import DepthRule
from compliance.models.waivers import Waiver, WaiverAnswer

__all__ = [
    "AnswerEvidence",
    "AnswerInspection",
    "Assessment",
    "AuditFollowUp",
    "AuditFollowUpAnswer",
    "AuditRound",
    "AuditWidening",
    "BytesToRemove",
    "Certificate",
    "CertificateKey",
    "CertificateWithdrawal",
    "DepthRule",
    "DrawnJob",
    "Erasure",
    "ErasureRequest",
    "EvidenceAccess",
    "Finding",
    "FindingAnswer",
    "FindingDraft",
    "FindingReply",
    "HistorySalt",
    "IssueRun",
    "IssueRunJob",
    "JobRead",
    "LedgerEntry",
    "LedgerLeaf",
    "LedgerNode",
    "LegalHold",
    "PointsSeen",
    "PopulationJob",
    "PopulationSeal",
    "PreviewSeen",
    "Remeasurement",
    "RetentionPeriod",
    "RuleRun",
    "RuleRunJob",
    "Seal",
    "Shortfall",
    "SwitchingStep",
    "Waiver",
    "WaiverAnswer",
]
