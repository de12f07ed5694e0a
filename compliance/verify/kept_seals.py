"""Seals that somebody kept: as the service's page offers them, or as its API gives them."""

from __future__ import annotations

import re
from pathlib import Path

from compliance.verify.reading_json import read_object
from compliance.verify.seals import ReadSeal, seal_of

SEAL_FILE = re.compile(
    r"((?:.*\n)(?:number: (\d+)\n)?tree size: (\d+)\nroot hash \(SHA-256, RFC 9162\): (.*)\n"
    r"made at: (.*)\n(?:seal before \(SHA-256 of its text\): .*\n)?)"
    r"public key \(Ed25519\): (.*)\nsignature \(Ed25519\): (.*)\s*"
)


def read_kept_seal(path: str | Path) -> ReadSeal:
    """The Seal in a file. Raises Unsound for what is none, OSError for what is not there."""
    text = Path(path).read_text(encoding="utf-8", errors="replace")
    found = SEAL_FILE.fullmatch(text)
    where = str(path)
    if found is None:
        return seal_of(read_object(text, where), where)
    signed, number, size, root, made_at, key, signature = found.groups()
    return seal_of(
        {
            "id": int(number or 0),
            "tree_size": int(size),
            "root_hash": root,
            "made_at": made_at,
            "signed_text": signed,
            "signature": signature,
            "public_key": key,
        },
        where,
    )
