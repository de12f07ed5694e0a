"""Checking an Ed25519 signature with nothing but Python (RFC 8032, section 5.1.7).

A few milliseconds a signature, and a pack has a few dozen; `compliance.verify.keys` uses the
package `cryptography` where it is installed. It only checks, and handles no secret.
"""

from __future__ import annotations

import hashlib

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
"""Order of the base point (RFC 8032, table 1)."""
D = -121665 * pow(121666, -1, P) % P
ROOT_OF_MINUS_ONE = pow(2, (P - 1) // 4, P)

Point = tuple[int, int, int, int]
"""Extended homogeneous coordinates: x = X/Z, y = Y/Z, x y = T/Z (section 5.1.4)."""

NEUTRAL: Point = (0, 1, 1, 0)


def verify(public_key: bytes, signature: bytes, text: bytes) -> bool:
    """Whether `signature` (64 bytes) over `text` was made with `public_key` (32 bytes).

    The equation without the cofactor, [S]B = R + [k]A, which section 5.1.7 calls sufficient.
    """
    key = _point(public_key) if len(public_key) == 32 else None
    if key is None or len(signature) != 64:
        return False
    commitment, scalar = _point(signature[:32]), int.from_bytes(signature[32:], "little")
    if commitment is None or scalar >= L:
        return False
    digest = hashlib.sha512(signature[:32] + public_key + text).digest()
    k = int.from_bytes(digest, "little") % L
    return _same(_times(scalar, BASE), _sum(commitment, _times(k, key)))


def _point(encoded: bytes) -> Point | None:
    """Decoding (section 5.1.3), or None for bytes that are no point."""
    number = int.from_bytes(encoded, "little")
    sign, y = number >> 255, number & ((1 << 255) - 1)
    x = None if y >= P else _x_of(y, sign)
    return None if x is None else (x, y, 1, x * y % P)


def _x_of(y: int, sign: int) -> int | None:
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * ROOT_OF_MINUS_ONE % P
    if (x * x - square) % P or (x == 0 and sign):
        return None
    return P - x if x & 1 != sign else x


def _sum(p: Point, q: Point) -> Point:
    """Addition (section 5.1.4)."""
    a, b = (p[1] - p[0]) * (q[1] - q[0]) % P, (p[1] + p[0]) * (q[1] + q[0]) % P
    c, d = 2 * p[3] * q[3] * D % P, 2 * p[2] * q[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def _times(scalar: int, p: Point) -> Point:
    found = NEUTRAL
    while scalar:
        if scalar & 1:
            found = _sum(found, p)
        p, scalar = _sum(p, p), scalar >> 1
    return found


def _same(p: Point, q: Point) -> bool:
    return (p[0] * q[2] - q[0] * p[2]) % P == 0 and (p[1] * q[2] - q[1] * p[2]) % P == 0


_BASE_Y = 4 * pow(5, -1, P) % P
_BASE_X = _x_of(_BASE_Y, 0)
assert _BASE_X is not None
BASE: Point = (_BASE_X, _BASE_Y, 1, _BASE_X * _BASE_Y % P)
