"""Every table of the database, and how a change in it by force is found. Nothing is left undecided.

A table is of one of these: facts, whose rows are only added and enter the ledger; histories, whose
events enter it; tables with a history, whose rows must hold what their last event says; the ledger
itself; derived, where the verifier works out again what must stand there; or no evidence. A test
compares this list with the tables that there are: a new one has to be decided on.
"""

from __future__ import annotations

from compliance.ledger.facts import FACTS
from compliance.ledger.histories import HISTORIES

LEDGER: dict[str, str] = {
    "compliance_ledgerentry": "its hashes must give the root of every Seal",
    "compliance_ledgerleaf": "positions must run from 0 without a gap and give every root",
    "compliance_seal": "signed, and each must continue the one before it",
    "compliance_ledgernode": "derived: worked out again from the leaves by verify_ledger",
}

# What follows from facts, and how that is checked.
DERIVED: dict[str, str] = {
    "jobs_stockbalance": "the sum of its movements, which are facts",
    "jobs_photohash": "what the inspection of its photo found, which is a fact",
    "pghistory_context": "hashed into every event that names it",
    "compliance_historysalt": "with the word it salts it must give the hash that entered",
}

# Tables that say nothing about the work, and why.
NO_EVIDENCE: dict[str, str] = {
    # On its way, or asked for: what comes of it is a fact or has a history.
    "jobs_intakebatch": "a spreadsheet being read; homes and jobs that came of it have histories",
    "jobs_intakerow": "a line of one, read once",
    "jobs_planrun": "a plan being sought; accepted, it becomes visits, which have a history",
    "jobs_officeprices": "what plans are weighed by; its rows are only added, and prove no work",
    "jobs_proposedvisit": "a line of one; answered, it becomes a visit",
    "jobs_upload": "a photo half received; whole, it is a fact",
    "jobs_uploadpiece": "a part of one",
    "compliance_rulerun": "how far a preview or a re-assessment has come; verdicts are facts",
    "compliance_rulerunjob": "what a preview found, worked out again by the next",
    "compliance_previewseen": "that a preview was looked at; the approval is in the rule's history",
    "compliance_issuerun": "how far a bulk issue has come; certificates are facts",
    "compliance_issuerunjob": "a line of one",
    "compliance_findingdraft": "a finding being written; recorded, it is a fact",
    "compliance_bytestoremove": "files to be removed; the erasure that names them is a fact",
    "jobs_stopnotice": "that the office was mailed about a stop, which itself is a fact",
    # Kept to be quick, and fetched or made again.
    "jobs_idempotentcreate": "answers kept for repeated requests",
    "jobs_travelleg": "drives as a router told them, asked again when they are old",
    # Ways in.
    "jobs_calendarfeed": "secret addresses of calendars",
    "jobs_user_groups": "not used: what somebody may do goes by their role, which has a history",
    "jobs_user_user_permissions": "not used, as above",
    "auth_group": "not used, as above",
    "auth_group_permissions": "not used, as above",
    "auth_permission": "the framework's list, not used",
    "account_emailaddress": "addresses to sign in with",
    "account_emailconfirmation": "letters that confirm them",
    "authtoken_token": "keys of the API",
    "django_session": "who is signed in",
    # The framework's own.
    "django_content_type": "names of models",
    "django_migrations": "which migrations have run",
}


def decisions() -> dict[str, str]:
    """Table -> what was decided about it, in a few words."""
    return {
        **dict.fromkeys(FACTS, "facts"),
        **{kind: f"history of {history.of}" for kind, history in HISTORIES.items()},
        **{history.of: f"has a history: {kind}" for kind, history in HISTORIES.items()},
        **{table: f"ledger: {why}" for table, why in LEDGER.items()},
        **{table: f"derived: {how}" for table, how in DERIVED.items()},
        **{table: f"no evidence: {why}" for table, why in NO_EVIDENCE.items()},
    }
