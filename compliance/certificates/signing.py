"""Signing certificates and reports of audits: PAdES, so that a changed byte is noticed.

The key is EC P-256 with a self-signed certificate, made at the first start, and replaceable (see
`compliance.certificates.key_sources`). Signatures carry the time of issue that the certificate
itself prints and, by a key in a file, are deterministic (ECDSA by RFC 6979, RSA by PKCS #1 v1.5),
so that the same contents give the same bytes again. A device signs differently each time; the
document beneath stays the same, and the signed file is kept.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from io import BytesIO
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from django.conf import settings
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, Signer, SimpleSigner
from pyhanko_certvalidator.registry import SimpleCertificateStore

from compliance.certificates.key_sources import MADE, SigningKey, from_device, from_file, from_pem
from compliance.certificates.keys import read_or_make

KEY_FILE = "certificate-signing.pem"
FIELD = "Seal"
YEARS_VALID = 20
BYTES_RESERVED = 8192
PDF_1_7 = (1, 7)
AS_CERTIFICATE = "Issued as a loft insulation certificate"
AS_REPORT = "Issued as the report of an audit round"


def signing_key() -> SigningKey:
    """The key in use; made when there is none yet.

    Raises:
        ImproperlyConfigured: a key of one's own is named that can't be used.
    """
    token = settings.CERTIFICATE_TOKEN
    if token["module"]:
        return _load_from_device(tuple(token.items()), os.getpid())
    if settings.CERTIFICATE_KEY_STORE:
        return _load_file(settings.CERTIFICATE_KEY_STORE, settings.CERTIFICATE_KEY_PASSWORD)
    return _load(str(settings.CERTIFICATE_KEY_FOLDER))


@lru_cache(maxsize=4)
def _load(folder: str) -> SigningKey:
    pem = read_or_make(KEY_FILE, make_key_and_certificate)
    return from_pem(pem, "", kind=MADE, said=f"{folder}/{KEY_FILE}")


@lru_cache(maxsize=4)
def _load_file(name: str, password: str) -> SigningKey:
    return from_file(name, password)


@lru_cache(maxsize=1)
def _load_from_device(token: tuple[tuple[str, str], ...], process: int) -> SigningKey:
    """Each process opens a session of its own."""
    return from_device(dict(token))


def make_key_and_certificate() -> bytes:
    """A fresh EC P-256 key with a self-signed certificate for it, as PEM."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Eavesbook"),
            x509.NameAttribute(NameOID.COMMON_NAME, "Loft insulation certificates"),
        ]
    )
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        # Certificates of an invented history are older than the key; so is its validity.
        .not_valid_before(now - timedelta(days=366))
        .not_valid_after(now + timedelta(days=365 * YEARS_VALID))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_for_signatures(), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return private + certificate.public_bytes(serialization.Encoding.PEM)


def _for_signatures() -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )


def sign_pdf(
    pdf: bytes,
    at: datetime,
    key: SigningKey | None = None,
    *,
    reason: str = AS_CERTIFICATE,
    as_pdf_2: bool = False,
) -> bytes:
    """`pdf` with a PAdES baseline signature (ETSI EN 319 142-1, level B-B) made at `at`.

    as_pdf_2: with the mark of PDF 2.0 in the catalog, as certificates were signed once.

    Raises:
        DeviceGone: the key lies on a device that does not sign.
    """
    meta = PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        subfilter=SigSeedSubFilter.PADES,
        reason=reason,
        name="Eavesbook",
    )
    key = key or signing_key()
    writer = (_RepeatableWriter if as_pdf_2 else _Pdf17Writer)(BytesIO(pdf))
    with _device_told(key):
        signed = _SignerAt(meta, signer_of(key), at).sign_pdf(writer, bytes_reserved=BYTES_RESERVED)
    return bytes(signed.getbuffer())


class DeviceGone(OSError):
    """The device that holds the key does not sign. Not the document's doing: try again later."""


@contextmanager
def _device_told(key: SigningKey) -> Iterator[None]:
    """What a device raises, as `DeviceGone`; a session that broke is opened anew the next time."""
    try:
        yield
    except Exception as error:  # every maker's library raises its own
        if key.device is None:
            raise
        with suppress(Exception):  # so that the next session may sign in
            key.device.pkcs11_session.close()
        _load_from_device.cache_clear()
        raise DeviceGone(
            f"The device behind CERTIFICATE_TOKEN_MODULE does not sign: "
            f"{str(error) or type(error).__name__}. Is it plugged in, with its token?"
        ) from error


def signer_of(key: SigningKey) -> Signer:
    if key.device is not None:
        device: Signer = key.device
        return device
    store = SimpleCertificateStore()
    store.register_multiple(key.chain)
    return _RepeatableSigner(
        signing_cert=key.signing_cert, signing_key=key.signing_key, cert_registry=store
    )


class _RepeatableSigner(SimpleSigner):
    """Signs the same bytes to the same signature: ECDSA with the nonce of RFC 6979."""

    def sign_raw(self, data: bytes, digest_algorithm: str) -> bytes:
        private = _private_key(self.signing_key.dump())
        if not isinstance(private, ec.EllipticCurvePrivateKey):
            return bytes(super().sign_raw(data, digest_algorithm))
        return private.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))


@lru_cache(maxsize=4)
def _private_key(der: bytes) -> Any:
    return serialization.load_der_private_key(der, password=None)


class _SignerAt(PdfSigner):
    """A signer whose clock stands at the time of issue."""

    def __init__(self, meta: PdfSignatureMetadata, signer: Signer, at: datetime) -> None:
        super().__init__(meta, signer)
        self.at = at

    def init_signing_session(self, pdf_out: Any, existing_fields_only: bool = False) -> Any:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.at
        return session


class _RepeatableWriter(IncrementalPdfFileWriter):
    """Adds the signature and nothing that changes from run to run."""

    @classmethod
    def _handle_id(cls, prev: Any) -> Any:
        first, second = prev.trailer["/ID"]
        again = hashlib.sha256(bytes(second.original_bytes)).digest()[:16]
        return generic.ArrayObject(
            [generic.ByteStringObject(first.original_bytes), generic.ByteStringObject(again)]
        )

    def _update_meta(self) -> None:
        """Leave title, dates and the PDF/A mark as the document has them."""


class _Pdf17Writer(_RepeatableWriter):
    """Leaves the document a PDF 1.7, which PDF/A-2 is; ETSI's extension of 1.7 tells of PAdES."""

    def ensure_output_version(self, version: tuple[int, int]) -> None:
        super().ensure_output_version(min(version, PDF_1_7))

    def register_extension(self, ext: Any) -> None:
        if str(ext.base_version) == "/1.7":
            super().register_extension(ext)
