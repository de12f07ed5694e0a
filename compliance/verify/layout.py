"""What an evidence pack is made of: names that the exporter writes and the verifier reads.

A pack is a bag in the sense of RFC 8493 (BagIt 1.0), as a folder or as a zip of one folder:

    bagit.txt, bag-info.txt         as RFC 8493, sections 2.1.1 and 2.2.2, asks
    manifest-sha256.txt             SHA-256 of every file under data/ (2.1.3)
    tagmanifest-sha256.txt          SHA-256 of the files beside it, signature.txt apart (2.2.1)
    README.txt                      all this in words, and how to check it without our code
    signature.txt                   SHA-256 of tagmanifest-sha256.txt, signed with the Seal key
    data/pack.json                  whose facts these are, how many, which columns are hashed,
                                    what was withheld or left out
    data/ledger/entries.jsonl       a line an entry: the very bytes that its leaf was hashed from
    data/ledger/rows.jsonl          the same facts, line by line, as their tables hold them now
    data/ledger/present.jsonl       rows that can be edited, as they are now, each in the form of
                                    the last event of its history
    data/ledger/derived.jsonl       what follows from the rest and is kept apart to be quick: hashes
                                    of photos, and when operatives are on visits; of scope whole
                                    stock balances too, and what of the stored tree does not follow.
                                    later: it follows from what was recorded after the last Seal
    data/ledger/contents.jsonl      what entered as a hash: {kind, id, column, salt, text}; not
                                    what a fact of kind compliance_erasure says was erased
    data/ledger/proofs.jsonl        {position, path} of each entry under the last Seal (scope jobs)
    data/ledger/seals.jsonl         Seals: {id, tree_size, root_hash, made_at, signed_text,
                                    signature, public_key}, the smallest first; hashes in hex
    data/ledger/consistency.jsonl   {first, second, path} from each Seal to the next, by size
    data/ledger/chain.jsonl         every Seal up to the last: {number, tree_size, root_hash,
                                    made_at}, which with the hash of the text before give its own
                                    text; of scope jobs {first, last, sha256, linked} of a run of
                                    them; a Seal that is not what follows as in seals.jsonl
    data/photos/<sha256>            originals, named by the SHA-256 that their fact records
    data/certificates/<code>.pdf    certificates as they were issued
    data/answers/<sha256>           files that came with answers to findings
    data/audit/                     of an audit round: round.json and population.txt repeat the
                                    draw; the report, pictures, lists and pages are for reading
    data/verifier.pyz               this verifier, for whoever has nothing but Python

The leaf of an entry is SHA-256(0x00 || line without its line feed); tree, paths and proofs are
those of RFC 9162, section 2.1. A pack of scope `whole` holds every entry from position 0 on and
so needs no paths: its entries give the root of each Seal.

Packs of version 1 have no chain.jsonl, and derived.jsonl (scope whole) without operatives.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Final

PACK_VERSION: Final = 2
READABLE_VERSIONS: Final = (1, 2)
SCOPE_WHOLE: Final = "whole"
SCOPE_JOBS: Final = "jobs"

BAGIT_TEXT: Final = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
BAGIT: Final = "bagit.txt"
BAG_INFO: Final = "bag-info.txt"
MANIFEST: Final = "manifest-sha256.txt"
TAG_MANIFEST: Final = "tagmanifest-sha256.txt"
README: Final = "README.txt"
SIGNATURE: Final = "signature.txt"

PACK: Final = "data/pack.json"
ENTRIES: Final = "data/ledger/entries.jsonl"
ROWS: Final = "data/ledger/rows.jsonl"
PRESENT: Final = "data/ledger/present.jsonl"
DERIVED: Final = "data/ledger/derived.jsonl"
CONTENTS: Final = "data/ledger/contents.jsonl"
PROOFS: Final = "data/ledger/proofs.jsonl"
SEALS: Final = "data/ledger/seals.jsonl"
CONSISTENCY: Final = "data/ledger/consistency.jsonl"
CHAIN: Final = "data/ledger/chain.jsonl"
PHOTOS: Final = "data/photos/"
CERTIFICATES: Final = "data/certificates/"
ANSWER_FILES: Final = "data/answers/"
AUDIT: Final = "data/audit/"
AUDIT_ROUND: Final = "data/audit/round.json"
AUDIT_POPULATION: Final = "data/audit/population.txt"
AUDIT_REPORT: Final = "data/audit/report.pdf"
VERIFIER: Final = "data/verifier.pyz"

SIGNATURE_FIRST_LINE: Final = "Eavesbook evidence pack, version 1"
SEAL_FIRST_LINE: Final = "Eavesbook ledger seal, version 1"
LINKED_SEAL_FIRST_LINE: Final = "Eavesbook ledger seal, version 2"
"""Version 2 also numbers the Seal and names the one before it."""
NO_SEAL_BEFORE: Final = "none"
LINK: Final = re.compile(
    rf"{LINKED_SEAL_FIRST_LINE}\nnumber: ([1-9]\d{{0,17}})\n.*\n"
    rf"seal before \(SHA-256 of its text\): ([0-9a-f]{{64}}|{NO_SEAL_BEFORE})\n",
    re.DOTALL,
)

HASHED: Final = "sha256:"
"""Begins what stands in an entry in place of a hashed column."""

PHOTO: Final = "jobs_photo"
READING: Final = "jobs_depthreading"
CHECK: Final = "jobs_prestartcheck"
HANDOVER: Final = "jobs_handover"
WORK_STEP: Final = "jobs_workstep"
ASSESSMENT: Final = "compliance_assessment"
CERTIFICATE: Final = "compliance_certificate"
WITHDRAWAL: Final = "compliance_certificatewithdrawal"
POPULATION_SEAL: Final = "compliance_populationseal"
POPULATION_JOB: Final = "compliance_populationjob"
DRAWN_JOB: Final = "compliance_drawnjob"
ANSWER_EVIDENCE: Final = "compliance_answerevidence"
ERASURE: Final = "compliance_erasure"
RULE_EVENTS: Final = "compliance_depthruleevent"
MOVEMENT: Final = "jobs_stockmovement"
INSPECTION: Final = "jobs_photoinspection"
BALANCE: Final = "jobs_stockbalance"
PHOTO_HASH: Final = "jobs_photohash"
HASHES_SINCE: Final = 4
"""From this version of the inspector on a photo has a row of its hash if its inspection has one."""
OPERATIVE: Final = "jobs_visitoperative"
OPERATIVE_EVENTS: Final = "jobs_visitoperativeevent"
VISIT_EVENTS: Final = "jobs_visitevent"
STORED_TREE: Final = "the stored tree"
"""Stands in derived.jsonl in place of a table, where the service's own check found it wrong."""
BYTES: Final = "bytes"
"""What an erasure names of a photo in place of a column."""


def signature_text(tag_manifest_sha256: str, made_at: str) -> str:
    """What the signature of a pack is over."""
    return (
        f"{SIGNATURE_FIRST_LINE}\n"
        f"tagmanifest-sha256.txt (SHA-256): {tag_manifest_sha256}\n"
        f"made at: {made_at}\n"
    )


@dataclass(frozen=True, slots=True)
class SealLink:
    """A Seal's place. before: SHA-256 in hex of the text of the Seal before it, or "none"."""

    number: int
    before: str


def seal_text(tree_size: int, root_hex: str, made_at: str, link: SealLink | None = None) -> str:
    """What a Seal's signature is over. made_at: UTC, such as 2026-11-25T12:00:00Z.

    Without a link: of version 1, which leaves open what was sealed before it.
    """
    said = (
        f"tree size: {tree_size}\nroot hash (SHA-256, RFC 9162): {root_hex}\nmade at: {made_at}\n"
    )
    if link is None:
        return f"{SEAL_FIRST_LINE}\n{said}"
    return (
        f"{LINKED_SEAL_FIRST_LINE}\nnumber: {link.number}\n{said}"
        f"seal before (SHA-256 of its text): {link.before}\n"
    )


def link_of(signed_text: str) -> SealLink | None:
    """The place that a signed text names; None for one of version 1, or for no Seal's text."""
    found = LINK.fullmatch(signed_text)
    return None if found is None else SealLink(int(found[1]), found[2])


def text_sha256(signed_text: str) -> str:
    """How the next Seal names the one with this text."""
    return hashlib.sha256(signed_text.encode("utf-8", "surrogatepass")).hexdigest()


def signed_file(text: str, public_key_hex: str, signature_hex: str) -> str:
    """A signed text with its key and signature beneath, as signature.txt and kept Seals have it."""
    return f"{text}public key (Ed25519): {public_key_hex}\nsignature (Ed25519): {signature_hex}\n"
