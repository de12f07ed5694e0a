"""README.txt of a pack: what is in it and how to check it, in words."""

from __future__ import annotations

from compliance.packs.scope import PackScope
from compliance.verify.layout import PACK_VERSION

CHECK_WITH_US = "python -m compliance.verify PACK --key KEY.pem"


def readme(scope: PackScope, made_at: str, key_hex: str, counts: dict[str, int]) -> str:
    """The text; `counts` are numbers of facts by kind."""
    facts = "\n".join(f"    {number:>9,}  {kind}" for kind, number in sorted(counts.items()))
    apart = sorted(scope.left_out | scope.withheld)
    extra = f"{scope.extra.about}\n" if scope.extra else ""
    withheld = "Not in this pack, only their hashes: " + ", ".join(apart) + ".\n" if apart else ""
    return f"""\
EVIDENCE PACK

{scope.title}
Made at {made_at}, version {PACK_VERSION} of the format.

This folder holds everything recorded of these jobs: checks, photos, depth readings, handovers,
verdicts with their inputs and arithmetic, certificates and withdrawals, {sum(counts.values()):,}
facts in all:

{facts}

{withheld}
{extra}HOW IT IS KEPT

It is a bag as RFC 8493 (BagIt 1.0) describes: manifest-sha256.txt lists the SHA-256 of every file
under data/, and any tool for bags can check it. signature.txt signs the whole.

Every fact entered a ledger in the moment it was recorded: a Merkle tree as RFC 9162, section 2.1,
describes, with SHA-256. Its signed heads are called Seals (Ed25519, RFC 8032).

    data/ledger/entries.jsonl      a fact a line; a leaf is SHA-256 of a zero byte and that line
    data/ledger/proofs.jsonl       where each entry stands and the hashes that lead to the root
    data/ledger/seals.jsonl        Seals; signature is over the bytes of signed_text
    data/ledger/consistency.jsonl  the proofs that each Seal continues the one before it
    data/ledger/chain.jsonl        the numbers of all Seals, so that a missing one is noticed
    data/ledger/rows.jsonl         the facts again, as the service shows them when the pack was made
    data/ledger/present.jsonl      rows that can be edited, as they are now, each in the form of the
                                   last edit that the ledger recorded of it
    data/ledger/derived.jsonl      what follows from other rows, such as when who is on a visit
    data/ledger/contents.jsonl     long or personal texts, which entered as SHA-256 of salt and text
    data/photos/                   originals, each named by its SHA-256
    data/certificates/             certificates as issued, signed (PAdES)

HOW TO CHECK IT

1. Get the public key of the Seals another way than this pack: from the service's page about its
   ledger, or from somebody who kept it. When this pack was made it was
       {key_hex}
2. Run our verifier on any machine with Python 3.11; the package `cryptography` makes it quicker,
   and it is not needed:
       {CHECK_WITH_US}
   It needs no connection and no database, and names the first thing wrong.
3. Or write your own check from the three standards above; nothing else is needed.

WHAT A CHECK CANNOT TELL

Whoever holds the signing key could make another ledger and sign that. So keep a Seal, or have
somebody else keep one, and give it with --seal: a ledger that was rewritten does not continue it.
In a pack of some jobs, every verdict's evidence is there or the check fails; that nothing else was
ever recorded of a job is proved only by a pack of the whole ledger, which has no gap.
A reading says what a person entered. That it is true is what photos, visits and audits are for.
"""
