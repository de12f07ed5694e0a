"""Keys: made once whoever races, private, replaceable by files of one's own."""

from __future__ import annotations

import stat
import threading
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from compliance.certificates import signing
from compliance.certificates.keys import read_or_make
from compliance.ledger import seals


@pytest.fixture
def folder(settings, tmp_path: Path) -> Path:
    settings.CERTIFICATE_KEY_FOLDER = str(tmp_path / "keys")
    return tmp_path / "keys"


def test_whoever_races_gets_the_same_key(folder: Path):
    start, found = threading.Barrier(8), []

    def first_start(number: int) -> None:
        start.wait(20)
        found.append(read_or_make("a.pem", lambda: f"key {number}".encode()))

    threads = [threading.Thread(target=first_start, args=(i,)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(found) == 8
    assert set(found) == {(folder / "a.pem").read_bytes()}
    assert [file.name for file in folder.iterdir()] == ["a.pem"]


def test_a_key_is_read_by_its_owner_alone(folder: Path):
    read_or_make("a.pem", lambda: b"key")

    assert stat.S_IMODE((folder / "a.pem").stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_the_signing_key_is_made_at_the_first_start_and_kept(folder: Path):
    first = signing.signing_key()
    signing._load.cache_clear()

    assert signing.signing_key().fingerprint == first.fingerprint
    assert first.signing_cert.public_key.curve == ("named", "secp256r1")


def test_a_key_of_ones_own_takes_its_place(folder: Path):
    folder.mkdir()
    own = signing.make_key_and_certificate()
    (folder / signing.KEY_FILE).write_bytes(own)

    key = signing.signing_key()

    assert isinstance(
        serialization.load_pem_private_key(own, password=None), ec.EllipticCurvePrivateKey
    )
    assert key.signing_cert.dump() in _certificates(own)


def _certificates(pem: bytes) -> list[bytes]:
    return [
        c.public_bytes(serialization.Encoding.DER) for c in x509.load_pem_x509_certificates(pem)
    ]


def test_the_seal_key_is_ed25519_and_anything_else_is_refused(folder: Path):
    assert isinstance(seals.seal_key(), Ed25519PrivateKey)
    seals._load.cache_clear()
    (folder / seals.KEY_FILE).write_bytes(signing.make_key_and_certificate())

    with pytest.raises(TypeError, match="holds no Ed25519 key"):
        seals.seal_key()


def test_the_same_bytes_are_signed_to_the_same_signature(folder: Path):
    key = signing.signing_key()
    signer = signing._RepeatableSigner(
        signing_cert=key.signing_cert,
        signing_key=key.signing_key,
        cert_registry=signing.SimpleCertificateStore(),
    )

    assert signer.sign_raw(b"words", "sha256") == signer.sign_raw(b"words", "sha256")
    assert signer.sign_raw(b"words", "sha256") != signer.sign_raw(b"other", "sha256")
