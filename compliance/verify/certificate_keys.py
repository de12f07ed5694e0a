"""Checking what a certificate's key signed, with nothing but Python: ECDSA and RSA.

ECDSA over P-256 and P-384 (FIPS 186-5, section 6.4.2, with the curves of SP 800-186, section 3.2.1)
and RSASSA-PKCS1-v1_5 (RFC 8017, section 8.2.2). It only checks, and handles no secret. Where the
package `cryptography` is installed, it checks ECDSA.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from compliance.verify.der import SEQUENCE, Node, NotDer, read

try:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec, utils
except ImportError:  # nothing but Python: slower, and enough
    ec = None  # type: ignore[assignment]

HASHES = {
    "608648016503040201": "sha256",
    "608648016503040202": "sha384",
    "608648016503040203": "sha512",
}
"""Object identifiers of NIST, 2.16.840.1.101.3.4.2."""
EC_KEY, RSA_KEY = "2a8648ce3d0201", "2a864886f70d010101"
RSA_PSS = "2a864886f70d01010a"

Point = tuple[int, int] | None


class UnknownKind(ValueError):
    """A key or signature of a kind that is not checked here."""


@dataclass(frozen=True, slots=True)
class Curve:
    """y^2 = x^3 - 3 x + b modulo p, with a base point of order n."""

    p: int
    n: int
    b: int
    base: tuple[int, int]

    def sum(self, one: Point, other: Point) -> Point:
        if one is None or other is None:
            return one or other
        if one[0] == other[0] and (one[1] + other[1]) % self.p == 0:
            return None
        if one == other:
            slope = (3 * one[0] ** 2 - 3) * pow(2 * one[1], -1, self.p)
        else:
            slope = (other[1] - one[1]) * pow(other[0] - one[0], -1, self.p)
        x = (slope * slope - one[0] - other[0]) % self.p
        return x, (slope * (one[0] - x) - one[1]) % self.p

    def times(self, scalar: int, point: Point) -> Point:
        found: Point = None
        while scalar:
            if scalar & 1:
                found = self.sum(found, point)
            point, scalar = self.sum(point, point), scalar >> 1
        return found

    def has(self, point: tuple[int, int]) -> bool:
        x, y = point
        inside = 0 <= x < self.p and 0 <= y < self.p
        return inside and (y * y - x**3 + 3 * x - self.b) % self.p == 0


P256 = Curve(
    p=2**256 - 2**224 + 2**192 + 2**96 - 1,
    n=0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551,
    b=0x5AC635D8AA3A93E7B3EBBD55769886BC651D06B0CC53B0F63BCE3C3E27D2604B,
    base=(
        0x6B17D1F2E12C4247F8BCE6E563A440F277037D812DEB33A0F4A13945D898C296,
        0x4FE342E2FE1A7F9B8EE7EB4A7C0F9E162BCE33576B315ECECBB6406837BF51F5,
    ),
)
P384 = Curve(
    p=2**384 - 2**128 - 2**96 + 2**32 - 1,
    n=int(
        "FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF"
        "C7634D81F4372DDF581A0DB248B0A77AECEC196ACCC52973",
        16,
    ),
    b=int(
        "B3312FA7E23EE7E4988E056BE3F82D19181D9C6EFE814112"
        "0314088F5013875AC656398D8A2ED19D2A85C8EDD3EC2AEF",
        16,
    ),
    base=(
        int(
            "AA87CA22BE8B05378EB1C71EF320AD746E1D3B628BA79B98"
            "59F741E082542A385502F25DBF55296C3A545E3872760AB7",
            16,
        ),
        int(
            "3617DE4A96262C6F5D9E98BF9292DC29F8F41DBD289A147C"
            "E9DA3113B5F0B8C00A60B1CE1D7E819D7A431D7C90EA0E5F",
            16,
        ),
    ),
)
CURVES = {"2a8648ce3d030107": P256, "2b81040022": P384}


def signed_by(
    certificate: bytes, hash_name: str, method: str, signature: bytes
) -> Callable[[bytes], bool]:
    """What tells whether the key of an X.509 certificate made `signature` over given bytes.

    method: the object identifier of the signature's algorithm, in hexadecimal.

    Raises:
        NotDer: certificate or key is malformed.
        UnknownKind: a curve or an algorithm that is not checked here.
    """
    algorithm, key = public_key(certificate)
    kind = algorithm[0].object_id()
    if kind == EC_KEY:
        curve = CURVES.get(algorithm[1].object_id())
        if curve is None:
            raise UnknownKind("its key is on another curve than P-256 or P-384")
        check = _ecdsa if ec is None else _ecdsa_by_openssl
        return lambda content: check(curve, key, signature, hashlib.new(hash_name, content))
    if kind == RSA_KEY and method != RSA_PSS:
        return lambda content: _rsa(key, signature, hashlib.new(hash_name, content))
    raise UnknownKind("it is signed neither by ECDSA nor by RSA as PKCS #1 v1.5 has it")


def public_key(certificate: bytes) -> tuple[list[Node], bytes]:
    """Algorithm and key of a certificate (RFC 5280, section 4.1). Raises NotDer."""
    inner = read(certificate).expect(SEQUENCE).children()[0].expect(SEQUENCE).children()
    version = 1 if inner and inner[0].tag == 0xA0 else 0
    if len(inner) < version + 6:
        raise NotDer("the certificate lacks its key")
    algorithm, bits = inner[version + 5].expect(SEQUENCE).children()
    return algorithm.expect(SEQUENCE).children(), bits.body[1:]


def _ecdsa_by_openssl(curve: Curve, key: bytes, signature: bytes, digest: hashlib._Hash) -> bool:
    """The same with OpenSSL, some fifty times as fast."""
    which = ec.SECP256R1() if curve is P256 else ec.SECP384R1()
    hashed = utils.Prehashed(getattr(hashes, digest.name.upper())())
    try:
        public = ec.EllipticCurvePublicKey.from_encoded_point(which, key)
        public.verify(signature, digest.digest(), ec.ECDSA(hashed))
    except (InvalidSignature, ValueError):
        return False
    return True


def _ecdsa(curve: Curve, key: bytes, signature: bytes, digest: hashlib._Hash) -> bool:
    size = (curve.p.bit_length() + 7) // 8
    if len(key) != 1 + 2 * size or key[0] != 4:
        raise UnknownKind("its key is not written as an uncompressed point")
    point = (int.from_bytes(key[1 : 1 + size], "big"), int.from_bytes(key[1 + size :], "big"))
    r, s = (node.number() for node in read(signature).expect(SEQUENCE).children())
    if not (curve.has(point) and 0 < r < curve.n and 0 < s < curve.n):
        return False
    shift = max(0, 8 * digest.digest_size - curve.n.bit_length())
    e = int.from_bytes(digest.digest(), "big") >> shift
    inverse = pow(s, -1, curve.n)
    found = curve.sum(
        curve.times(e * inverse % curve.n, curve.base), curve.times(r * inverse % curve.n, point)
    )
    return found is not None and found[0] % curve.n == r


def _rsa(key: bytes, signature: bytes, digest: hashlib._Hash) -> bool:
    modulus, exponent = (node.number() for node in read(key).expect(SEQUENCE).children())
    size = (modulus.bit_length() + 7) // 8
    oid = bytes.fromhex(next(oid for oid, name in HASHES.items() if name == digest.name))
    algorithm = bytes([0x30, len(oid) + 4, 0x06, len(oid)]) + oid + b"\x05\x00"
    hashed = algorithm + bytes([0x04, digest.digest_size]) + digest.digest()
    info = bytes([0x30, len(hashed)]) + hashed
    padded = b"\x00\x01" + b"\xff" * (size - len(info) - 3) + b"\x00" + info
    made = int.from_bytes(signature, "big")
    return made < modulus and pow(made, exponent, modulus).to_bytes(size, "big") == padded
