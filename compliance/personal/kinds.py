"""The kinds of personal data held on a household, and how long each may be kept.

To add one: a `DataKind` here, what it erases in `compliance/personal/erasable.py`, and a migration
for the limits that the database holds.
"""

from __future__ import annotations

from dataclasses import dataclass

CONTACT = "contact"
SIGNATURES = "signatures"
PHOTOS = "photos"
NOTES = "notes"
REASONS = "reasons"

STORAGE_LIMITATION = (
    "UK GDPR, Article 5(1)(e): no longer than is necessary for the purpose; it names no number"
)
SIX_YEARS = (
    "Limitation Act 1980, section 5: six years to claim under a simple contract (five in Scotland: "
    "Prescription and Limitation (Scotland) Act 1973, section 6, from memory)"
)
FIFTEEN_YEARS = (
    "Limitation Act 1980, section 4B (Building Safety Act 2022, section 135): fifteen years to "
    "claim under section 2A of the Defective Premises Act 1972"
)
COMMON_PRACTICE = "common practice, no published source"


@dataclass(frozen=True, slots=True)
class DataKind:
    """One kind of personal data.

    what: in words, for whoever decides. least, usual, most: months it is kept after the job was
    closed; least_why and most_why: the source of each limit. evidence: it proves a certificate, so
    while one is valid only two people together erase it. by_two: only two people ever erase it.
    """

    code: str
    label: str
    what: str
    least_months: int
    usual_months: int
    most_months: int
    least_why: str
    most_why: str
    evidence: bool
    by_two: bool = False

    @property
    def usual_years(self) -> str:
        return in_words(self.usual_months)


KINDS: tuple[DataKind, ...] = (
    DataKind(
        CONTACT,
        "Household’s contact",
        "Name, phone, e-mail address and access notes of the home, also where its history, the "
        "spreadsheet it came with and stored answers of the API repeat them.",
        least_months=1,
        usual_months=24,
        most_months=72,
        least_why=f"{STORAGE_LIMITATION}. A month for questions after the work: {COMMON_PRACTICE}",
        most_why=SIX_YEARS,
        evidence=False,
    ),
    DataKind(
        SIGNATURES,
        "Signatures and who was there",
        "Name and signature at the handover and why something was left undone, who let the crew "
        "in, where the crew’s phone was, and what it noted on coming and leaving.",
        least_months=72,
        usual_months=72,
        most_months=180,
        least_why=SIX_YEARS,
        most_why=FIFTEEN_YEARS,
        evidence=True,
    ),
    DataKind(
        PHOTOS,
        "Photos",
        "The photos as they were taken, their small copies, the notes on them, and where they were "
        "taken. The SHA-256 of each stays.",
        least_months=72,
        usual_months=180,
        most_months=300,
        least_why=SIX_YEARS,
        most_why=f"As long as guarantees of insulation are given, 25 years: {COMMON_PRACTICE}",
        evidence=True,
    ),
    DataKind(
        NOTES,
        "Notes",
        "What was noted in free words on surveys, visits, agreed times and checks before the "
        "start, on steps of the work and corrected readings, on differences from the plan, on work "
        "that was stopped or called off, also where their history repeats it.",
        least_months=12,
        usual_months=72,
        most_months=180,
        least_why=f"{STORAGE_LIMITATION}. A year for call-backs: {COMMON_PRACTICE}",
        most_why=FIFTEEN_YEARS,
        evidence=True,
    ),
    DataKind(
        REASONS,
        "Reasons of decisions",
        "Why a shortfall was waived or its waiver turned down, a certificate withdrawn, or a job "
        "put on legal hold, in the words of who decided. Who decided what, and when, stays.",
        least_months=72,
        usual_months=180,
        most_months=180,
        least_why=SIX_YEARS,
        most_why=FIFTEEN_YEARS,
        evidence=True,
        by_two=True,
    ),
)
BY_CODE = {kind.code: kind for kind in KINDS}
CHOICES = [(kind.code, kind.label) for kind in KINDS]
EVIDENCE = tuple(kind.code for kind in KINDS if kind.evidence)
BY_TWO = tuple(kind.code for kind in KINDS if kind.by_two)


def labels_of(codes: list[str] | tuple[str, ...]) -> str:
    """Such as "household’s contact, photos", in the order of KINDS."""
    return ", ".join(kind.label.lower() for kind in KINDS if kind.code in codes)


def in_words(months: int) -> str:
    """Such as "6 years" or "18 months"."""
    number, unit = (months // 12, "year") if months % 12 == 0 else (months, "month")
    return f"{number} {unit}{'' if number == 1 else 's'}"
