"""The bag around the facts: RFC 8493's manifests, and our signature over all of it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterator
from urllib.parse import unquote

from compliance.verify.faults import Fault, Unsound
from compliance.verify.keys import signed_by
from compliance.verify.layout import (
    BAG_INFO,
    BAGIT,
    BAGIT_TEXT,
    MANIFEST,
    README,
    SIGNATURE,
    TAG_MANIFEST,
    signature_text,
)
from compliance.verify.reading_json import from_hex
from compliance.verify.seals import HASH_BYTES, SIGNATURE_BYTES
from compliance.verify.sources import PackFiles

MANIFEST_LINE = re.compile(r"([0-9a-f]{64})  ?\*?(\S.*)")
SIGNED = re.compile(
    r"(.*\ntagmanifest-sha256\.txt \(SHA-256\): ([0-9a-f]{64})\nmade at: (.*)\n)"
    r"public key \(Ed25519\): (.*)\nsignature \(Ed25519\): (.*)\n"
)
PAYLOAD = "data/"
TAG_FILES = (BAGIT, BAG_INFO, MANIFEST, README)


def declaration_faults(files: PackFiles) -> Iterator[Fault]:
    """RFC 8493, section 2.1.1."""
    text = files.text(BAGIT)
    if text != BAGIT_TEXT:
        yield Fault(BAGIT, "does not declare a bag", repr(BAGIT_TEXT), repr(text))


def manifest_faults(files: PackFiles) -> Iterator[Fault]:
    """Every file under data/ is listed with its SHA-256, and every one listed is there."""
    _take_in(files, MANIFEST)
    for name, _ in files.listed():
        if name not in files.names or not name.startswith(PAYLOAD):
            yield Fault(name, f"stands in {MANIFEST}, but is missing from the pack")
    for name in files.names:
        if name.startswith(PAYLOAD) and not files.is_listed(name):
            yield Fault(name, f"is in the pack, but not in {MANIFEST}")
    yield from _digest_faults(files, MANIFEST)


def tag_manifest_faults(files: PackFiles) -> Iterator[Fault]:
    """The files beside data/ are those of a pack, listed with their SHA-256."""
    _take_in(files, TAG_MANIFEST)
    for name in files.names:
        if not name.startswith(PAYLOAD) and name not in (*TAG_FILES, TAG_MANIFEST, SIGNATURE):
            yield Fault(name, "does not belong into a pack")
    for name in TAG_FILES:
        if not files.is_listed(name):
            yield Fault(name, f"is not listed in {TAG_MANIFEST}")
    for name, _ in files.listed():
        if name not in files.names or name.startswith(PAYLOAD):
            yield Fault(name, f"stands in {TAG_MANIFEST}, but is missing from the pack")
    yield from _digest_faults(files, TAG_MANIFEST)


def oxum_faults(files: PackFiles) -> Iterator[Fault]:
    """Payload-Oxum (RFC 8493, section 2.2.2): bytes and number of the files under data/."""
    found = re.search(r"^Payload-Oxum: (\d+\.\d+)$", files.text(BAG_INFO), re.MULTILINE)
    count, size = 0, 0
    for name in files.names:
        if name.startswith(PAYLOAD):
            count, size = count + 1, size + files.size(name)
    oxum = f"{size}.{count}"
    if found is None or found[1] != oxum:
        yield Fault(BAG_INFO, "Payload-Oxum", oxum, found[1] if found else "none")


def signature_faults(files: PackFiles, keys: Collection[bytes]) -> Iterator[Fault]:
    """That the pack is, to the byte, what was signed when it was made."""
    text = files.text(SIGNATURE)
    found = SIGNED.fullmatch(text)
    if found is None:
        yield Fault(SIGNATURE, "is not written as the signature of a pack")
        return
    said, digest, made_at, key_hex, signature_hex = found.groups()
    key = from_hex(key_hex, HASH_BYTES, f"the key in {SIGNATURE}")
    signature = from_hex(signature_hex, SIGNATURE_BYTES, f"the signature in {SIGNATURE}")
    if said != signature_text(digest, made_at):
        yield Fault(SIGNATURE, "is not written as the signature of a pack")
    elif key not in keys:
        yield Fault(SIGNATURE, "is made with a key that you did not give", found=key_hex)
    elif not signed_by(key, signature, said.encode()):
        yield Fault(SIGNATURE, "does not fit its text")
    elif digest != files.digest(TAG_MANIFEST):
        yield Fault(
            TAG_MANIFEST, "is not the one that was signed", digest, files.digest(TAG_MANIFEST)
        )


def _take_in(files: PackFiles, manifest: str) -> None:
    """Raises Unsound for a line that is none, or a file listed twice."""
    for name in files.list_anew(_lines(files, manifest)):
        raise Unsound(manifest, f"lists {name} twice")


def _lines(files: PackFiles, manifest: str) -> Iterator[tuple[str, str]]:
    """File and SHA-256."""
    for n, line in enumerate(files.lines(manifest), 1):
        found = MANIFEST_LINE.fullmatch(line.decode("utf-8", "replace"))
        if found is None:
            raise Unsound(f"{manifest}, line {n}", "is not a SHA-256 and a file")
        yield unquote(found[2]) if "%" in found[2] else found[2], found[1]


def _digest_faults(files: PackFiles, manifest: str) -> Iterator[Fault]:
    for name, digest in files.listed():
        if name in files.names and files.digest(name) != digest:
            yield Fault(name, f"is not what {manifest} lists", digest, files.digest(name))


def tag_manifest_digest(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()
