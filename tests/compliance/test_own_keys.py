"""A signing key of one's own: from a file, on a device; and what an earlier key leaves behind."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import typst
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import dsa, ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID
from django.core.exceptions import ImproperlyConfigured
from django.urls import reverse
from pyhanko.keys import load_certs_from_pemder_data
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.certificates import key_sources, signing
from compliance.certificates.again import compare
from compliance.certificates.issue import issue_certificate
from compliance.certificates.key_checks import check_signing_key
from compliance.certificates.signing import signing_key
from compliance.certificates.storage import read_pdf
from compliance.certificates.withdraw import withdraw_certificate
from compliance.models import CertificateKey
from tests.compliance.scene import certified_scene

PASSWORD = "an invented password"
DEVICE = {"module": __file__, "label": "seal", "pin": "1234", "key": "certificates"}
PEM = serialization.Encoding.PEM


def pair(private: Any = None, *, days: int = 400, named: str = "Invented Lofts") -> tuple[Any, Any]:
    """A private key and a certificate it signed itself."""
    private = private or ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, named)])
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=800))
        .not_valid_after(now + timedelta(days=days))
        .sign(private, hashes.SHA256())
    )
    return private, certificate


def as_pem(private: Any, certificate: Any, password: str = "") -> bytes:
    locked = (
        serialization.BestAvailableEncryption(password.encode())
        if password
        else serialization.NoEncryption()
    )
    key = private.private_bytes(PEM, serialization.PrivateFormat.PKCS8, locked)
    return key + (certificate.public_bytes(PEM) if certificate else b"")


def as_pkcs12(private: Any, certificate: Any, password: str) -> bytes:
    locked = serialization.BestAvailableEncryption(password.encode())
    return pkcs12.serialize_key_and_certificates(b"seal", private, certificate, None, locked)


def fingerprint(certificate: Any) -> str:
    return certificate.fingerprint(hashes.SHA256()).hex()


@pytest.fixture
def store(settings, tmp_path: Path):
    """Puts bytes in a file and names it as the key to sign with."""

    def put(content: bytes, ending: str = ".pem", password: str = "") -> None:
        file = tmp_path / f"own{len(list(tmp_path.iterdir()))}{ending}"
        file.write_bytes(content)
        settings.CERTIFICATE_KEY_STORE = str(file)
        settings.CERTIFICATE_KEY_PASSWORD = password

    return put


@pytest.mark.parametrize(
    ("write", "ending", "password"),
    [
        (lambda k, c: as_pem(k, c), ".pem", ""),
        (lambda k, c: as_pem(k, c, PASSWORD), ".pem", PASSWORD),
        (lambda k, c: as_pkcs12(k, c, PASSWORD), ".p12", PASSWORD),
    ],
    ids=["PEM", "PEM with a password", "PKCS#12"],
)
def test_a_key_of_ones_own_is_read(store, write, ending: str, password: str):
    private, certificate = pair()
    store(write(private, certificate), ending, password)

    assert signing_key().fingerprint == fingerprint(certificate)
    assert check_signing_key() == []


EC_KEY, CERTIFICATE = pair()
REFUSED = [
    (as_pem(EC_KEY, CERTIFICATE, PASSWORD), ".pem", "", "Set CERTIFICATE_KEY_PASSWORD"),
    (as_pem(EC_KEY, CERTIFICATE, PASSWORD), ".pem", "wrong", "can be read with CERTIFICATE_KEY_P"),
    (as_pem(EC_KEY, CERTIFICATE), ".pem", PASSWORD, "not encrypted"),
    (as_pkcs12(EC_KEY, CERTIFICATE, PASSWORD), ".pfx", "wrong", "is not its password"),
    (b"nonsense", ".p12", "", "no PKCS#12 file"),
    (b"nonsense", ".pem", "", "no private key"),
    (as_pem(EC_KEY, None), ".pem", "", "no certificate"),
    (as_pem(EC_KEY, pair()[1]), ".pem", "", "belongs to another key"),
    (as_pem(*pair(EC_KEY, days=-1)), ".pem", "", "ran out on"),
    (as_pem(*pair(rsa.generate_private_key(65537, 1024))), ".pem", "", "RSA of 2048 bits"),
    (as_pem(*pair(dsa.generate_private_key(1024))), ".pem", "", "Use EC"),
]


@pytest.mark.parametrize(("content", "ending", "password", "says"), REFUSED)
def test_a_key_that_cannot_sign_is_told_at_the_start(store, content, ending, password, says):
    store(content, ending, password)

    with pytest.raises(ImproperlyConfigured, match=says):
        signing_key()
    assert says in check_signing_key()[0].msg
    assert PASSWORD not in check_signing_key()[0].msg


def test_a_file_that_is_not_there_is_told(settings, tmp_path: Path):
    settings.CERTIFICATE_KEY_STORE = str(tmp_path / "gone.pem")

    assert "can't be read" in check_signing_key()[0].msg


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"pin": "", "key": ""}, "CERTIFICATE_TOKEN_PIN and CERTIFICATE_TOKEN_KEY must be set"),
        ({"module": "/nowhere/p11.so"}, "which is no file"),
    ],
)
def test_a_device_that_is_half_set_up_is_told(settings, changed: dict[str, str], says: str):
    settings.CERTIFICATE_TOKEN = DEVICE | changed

    assert says in check_signing_key()[0].msg
    with pytest.raises(ImproperlyConfigured, match=says):
        key_sources.from_device(settings.CERTIFICATE_TOKEN)


def test_a_device_without_its_library_names_the_extra(settings, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "pyhanko.sign.pkcs11", None)
    settings.CERTIFICATE_TOKEN = DEVICE

    with pytest.raises(ImproperlyConfigured, match=r"pip install '.\[pkcs11\]'"):
        signing_key()


@pytest.mark.django_db
def test_after_a_change_of_key_old_certificates_stay_verifiable(store, client):
    """ETSI EN 319 142-1, validated by `pyHanko` against the PEM that the check page hands out."""
    scene, old = certified_scene()
    private, certificate = pair(rsa.generate_private_key(65537, 2048))
    store(as_pkcs12(private, certificate, PASSWORD), ".p12", PASSWORD)
    officer = scene.person("compliance_officer")
    withdraw_certificate(old, "another address", officer, kind="mistake")

    new = issue_certificate(scene.job.pk, officer)

    assert new.key_fingerprint == fingerprint(certificate) != old.key_fingerprint
    assert set(CertificateKey.objects.values_list("fingerprint", flat=True)) >= {
        old.key_fingerprint, new.key_fingerprint,
    }  # fmt: skip
    for one, words in ((old, "an earlier key"), (new, "the key in use")):
        pem = client.get(reverse("check_key", args=[one.key_fingerprint])).content
        assert verified_by(pem, read_pdf(one.pdf_name))
        page = client.get(reverse("check_certificate", args=[one.code])).content.decode()
        assert words in page
    assert (compare(old).same_document, compare(old).same_file) == (True, None)
    assert compare(new).same_file


@pytest.mark.django_db
def test_what_a_device_signs_is_kept_and_its_document_repeats(settings, monkeypatch):
    """In place of a device a signer of pyHanko with a key of ours and random nonces."""
    private, certificate = pair()
    held = key_sources.from_pem(as_pem(private, certificate), "", kind="file", said="The test")
    device = SimpleSigner(
        signing_cert=held.signing_cert,
        signing_key=held.signing_key,
        cert_registry=SimpleCertificateStore(),
    )
    key = key_sources.SigningKey(key_sources.DEVICE, held.signing_cert, device=device)
    settings.CERTIFICATE_TOKEN = DEVICE
    monkeypatch.setattr(signing, "_load_from_device", lambda *_: key)

    _, issued = certified_scene()

    assert CertificateKey.objects.get(fingerprint=issued.key_fingerprint).kind == "device"
    assert verified_by(certificate.public_bytes(PEM), read_pdf(issued.pdf_name))
    assert (compare(issued).same_document, compare(issued).same_file) == (True, None)
    assert "can't be repeated" in compare(issued).words


class PinIncorrect(Exception):
    """As libraries of PKCS#11 name it: without a word of its own."""


@pytest.mark.parametrize(
    ("raised", "setting"),
    [
        (PinIncorrect(), "CERTIFICATE_TOKEN_PIN. It says: PinIncorrect"),
        (Exception("No token matching criteria found"), "look at CERTIFICATE_TOKEN_LABEL"),
        (Exception("Could not find certificate with label"), "look at CERTIFICATE_TOKEN_KEY"),
        (Exception("OS exception while loading x.so"), "can't be loaded as a PKCS#11 library"),
        (Exception("odd"), "CERTIFICATE_TOKEN_LABEL, _PIN and _KEY. It says: odd"),
    ],
)
def test_a_device_that_refuses_leads_to_the_setting(raised: Exception, setting: str):
    """What SoftHSM 2.6 and python-pkcs11 0.10 said when each was tried on a token."""
    said = key_sources._why_refused(raised, DEVICE)

    assert said.startswith("CERTIFICATE_TOKEN_MODULE: the device refuses;")
    assert setting in said


def test_a_device_that_is_gone_is_told_and_asked_anew(monkeypatch):
    held = key_sources.from_pem(as_pem(*pair()), "", kind="file", said="The test")
    forgotten: list[bool] = []

    class Unplugged(SimpleSigner):
        def sign_raw(self, *_: Any) -> bytes:
            raise RuntimeError("SessionHandleInvalid")

    device = Unplugged(
        signing_cert=held.signing_cert, signing_key=held.signing_key,
        cert_registry=SimpleCertificateStore(),
    )  # fmt: skip
    loaded = SimpleNamespace(cache_clear=lambda: forgotten.append(True))
    monkeypatch.setattr(signing, "_load_from_device", loaded)
    key = key_sources.SigningKey(key_sources.DEVICE, held.signing_cert, device=device)

    with pytest.raises(signing.DeviceGone, match="does not sign: SessionHandleInvalid"):
        signing.sign_pdf(typst.compile(b"= A paper", format="pdf"), datetime.now(UTC), key)

    assert forgotten == [True]


def verified_by(pem: bytes, pdf: bytes) -> bool:
    signature = PdfFileReader(BytesIO(pdf)).embedded_signatures[0]
    roots = list(load_certs_from_pemder_data(pem))
    context = ValidationContext(trust_roots=roots)
    return bool(validate_pdf_signature(signature, signer_validation_context=context).intact) and (
        signature.signer_cert.dump() == roots[0].dump()
    )
