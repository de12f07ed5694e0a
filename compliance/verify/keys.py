"""Public keys, and signatures made with them (Ed25519, RFC 8032)."""

from __future__ import annotations

import base64
import re
from pathlib import Path

from compliance.verify import ed25519

try:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
except ImportError:  # nothing but Python: slower, and enough
    Ed25519PublicKey = None  # type: ignore[assignment, misc]

KEY_BYTES = 32
BEFORE_THE_KEY = bytes.fromhex("302a300506032b6570032100")
"""What stands before the key in its SubjectPublicKeyInfo (RFC 8410, section 4)."""
HEX_KEY = re.compile(rb"[0-9a-fA-F]{64}")
GREATEST_KEY_FILE = 10_000


class KeyFileError(ValueError):
    """A key file that holds no Ed25519 public key."""


def read_keys(path: str | Path) -> list[bytes]:
    """The raw public keys of a file: PEM (one or several), or 64 hexadecimal digits a line.

    Raises:
        KeyFileError: there is no file, or no Ed25519 public key in it.
    """
    try:
        with open(path, "rb") as file:
            text = file.read(GREATEST_KEY_FILE)
    except OSError as error:
        raise KeyFileError(f"--key: {path} cannot be read ({error.strerror}).") from error
    text = text.replace(b"\r\n", b"\n")
    blocks = re.findall(rb"-----BEGIN PUBLIC KEY-----.+?-----END PUBLIC KEY-----", text, re.DOTALL)
    keys = [_from_pem(block, path) for block in blocks]
    keys += [bytes.fromhex(line.decode()) for line in text.split() if HEX_KEY.fullmatch(line)]
    if not keys:
        raise KeyFileError(
            f"--key: {path} holds no Ed25519 public key. Give the PEM file that the service "
            "offers on its ledger page, fetched another way than the pack."
        )
    return keys


def _from_pem(block: bytes, path: str | Path) -> bytes:
    try:
        content = base64.b64decode(b"".join(block.split(b"\n")[1:-1]), validate=True)
    except ValueError as error:
        raise KeyFileError(f"--key: {path} is no readable PEM file.") from error
    if len(content) != len(BEFORE_THE_KEY) + KEY_BYTES or not content.startswith(BEFORE_THE_KEY):
        raise KeyFileError(f"--key: {path} holds a key of another kind than Ed25519.")
    return content[len(BEFORE_THE_KEY) :]


def signed_by(public_key: bytes, signature: bytes, text: bytes) -> bool:
    """Whether this key made this signature over this text."""
    if Ed25519PublicKey is None:
        return ed25519.verify(public_key, signature, text)
    try:
        Ed25519PublicKey.from_public_bytes(public_key).verify(signature, text)
    except (InvalidSignature, ValueError):
        return False
    return True
