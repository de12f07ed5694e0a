"""Whether a certificate's PDF is signed as PAdES asks, and by which key; with Python alone.

Checked: that the signature covers the whole file but itself (ISO 32000-2, section 12.8.1), that its
digest is that of these bytes, that the attributes are signed by the key of the certificate in it
(RFC 5652, sections 5.4 and 5.6), and that they name that certificate (RFC 5035, section 3). Whether
the certificate is trusted is for who knows its fingerprint to say; chains are not followed.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

from compliance.verify.certificate_keys import HASHES, UnknownKind, signed_by
from compliance.verify.der import OCTETS, SEQUENCE, SET, Node, NotDer, read

BYTE_RANGE = re.compile(rb"/ByteRange\s*\[\s*(\d+)\s+(\d+)\s+(\d+)\s+(\d+)\s*\]")
HEX = re.compile(rb"<([0-9A-Fa-f]*)>")
SIGNED_DATA = "2a864886f70d010702"
PLAIN_DATA = "2a864886f70d010701"
CONTENT_TYPE = "2a864886f70d010903"
MESSAGE_DIGEST = "2a864886f70d010904"
SIGNING_CERTIFICATE = "2a864886f70d010910022f"


class BadSignature(ValueError):
    """What is wrong with it, in words that go on from "its signature"."""


@dataclass(frozen=True, slots=True)
class Signer:
    """fingerprint: SHA-256 of the certificate that a sound signature was made with."""

    fingerprint: str


def check_signature(pdf: bytes) -> Signer:
    """Who signed a file that is as it was signed.

    Raises:
        BadSignature: it is not signed, changed since, or the signature is not one.
        UnknownKind: the signature is of a kind that is not checked here.
    """
    signed, contents = _parts(pdf)
    try:
        return _check(signed, contents)
    except (NotDer, IndexError, ValueError) as error:
        if isinstance(error, BadSignature | UnknownKind):
            raise
        raise BadSignature(f"cannot be read ({error})") from error


def _parts(pdf: bytes) -> tuple[bytes, bytes]:
    """The bytes under the signature, and the signature. All but its own place must be under it."""
    found = BYTE_RANGE.findall(pdf)
    if len(found) != 1:
        raise BadSignature("is missing" if not found else "is not the only one")
    first, length, second, rest = map(int, found[0])
    held = HEX.fullmatch(pdf[length:second])
    if first != 0 or second + rest != len(pdf) or not length < second or held is None:
        raise BadSignature("does not cover the whole file")
    return pdf[:length] + pdf[second:], bytes.fromhex(held[1].decode())


def _check(signed: bytes, contents: bytes) -> Signer:
    data = _signed_data(contents)
    certificates = [node for node in data if node.tag == 0xA0][0].children()
    signers = data[-1].expect(SET).children()
    if len(signers) != 1:
        raise BadSignature("is not of one signer")
    version, who, digest_by, attributes, method, signature = signers[0].children()[:6]
    named = _attributes(attributes.expect(0xA0))
    hash_name = HASHES.get(digest_by.children()[0].object_id())
    if hash_name is None:
        raise UnknownKind("its digest is neither SHA-256, SHA-384 nor SHA-512")
    if named[CONTENT_TYPE].object_id() != PLAIN_DATA:
        raise BadSignature("is over something else than a file")
    if named[MESSAGE_DIGEST].expect(OCTETS).body != hashlib.new(hash_name, signed).digest():
        raise BadSignature("is not over these bytes: the file was changed")
    certificate = _certificate(certificates, who)
    _require_named(named, certificate)
    holds = signed_by(
        certificate, hash_name, method.children()[0].object_id(), signature.expect(OCTETS).body
    )
    if not holds(bytes([SET]) + attributes.whole[1:]):
        raise BadSignature("was not made by the key of its certificate")
    return Signer(hashlib.sha256(certificate).hexdigest())


def _signed_data(contents: bytes) -> list[Node]:
    """RFC 5652, sections 3 and 5.1. Only zeros fill the place up behind it."""
    packed = read(contents).expect(SEQUENCE)
    if contents[len(packed.whole) :].strip(b"\0"):
        raise BadSignature("is followed by something else in its place")
    kind, content = packed.children()
    if kind.object_id() != SIGNED_DATA:
        raise BadSignature("is no signature in the sense of RFC 5652")
    return content.children()[0].expect(SEQUENCE).children()


def _attributes(node: Node) -> dict[str, Node]:
    """Each signed attribute by its object identifier, with its one value."""
    found: dict[str, Node] = {}
    for attribute in node.children():
        kind, values = attribute.expect(SEQUENCE).children()
        (value,) = values.expect(SET).children()
        if kind.object_id() in found:
            raise BadSignature("says something twice")
        found[kind.object_id()] = value
    for wanted in (CONTENT_TYPE, MESSAGE_DIGEST, SIGNING_CERTIFICATE):
        if wanted not in found:
            raise BadSignature("lacks what PAdES asks to be signed")
    return found


def _certificate(certificates: list[Node], who: Node) -> bytes:
    """The one that issuer and serial number name."""
    for node in certificates:
        inner = node.expect(SEQUENCE).children()[0].children()
        version = 1 if inner[0].tag == 0xA0 else 0
        issuer_and_serial = inner[version + 2].whole + inner[version].whole
        if who.tag == SEQUENCE and who.body == issuer_and_serial:
            return node.whole
    raise BadSignature("comes without the certificate of its signer")


def _require_named(named: dict[str, Node], certificate: bytes) -> None:
    """ESSCertIDv2: [hash algorithm, SHA-256 if absent], hash of the certificate."""
    first = named[SIGNING_CERTIFICATE].children()[0].children()[0].children()
    hash_name = "sha256"
    if first[0].tag == SEQUENCE:
        hash_name = HASHES[first[0].children()[0].object_id()]
        first = first[1:]
    if first[0].expect(OCTETS).body != hashlib.new(hash_name, certificate).digest():
        raise BadSignature("names another certificate than the one it was made with")
