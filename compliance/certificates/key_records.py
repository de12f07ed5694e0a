"""The public side of every key that signed a certificate, so that old files stay verifiable."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import lru_cache
from io import BytesIO
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from compliance.certificates.key_sources import SigningKey
from compliance.certificates.storage import read_pdf
from compliance.models import Certificate, CertificateKey


def keep_key(key: SigningKey) -> str:
    """Write down a key's public certificate unless it is there; gives its fingerprint."""
    fingerprint = key.fingerprint
    if not CertificateKey.objects.filter(fingerprint=fingerprint).exists():
        side = _public_side(key.kind, key.signing_cert, key.chain)
        CertificateKey.objects.get_or_create(fingerprint=fingerprint, defaults=side)
    return fingerprint


def key_of(certificate: Certificate) -> CertificateKey:
    """The key that signed a certificate; of rows older than this record, what its file says."""
    if certificate.key_fingerprint:
        kept: CertificateKey = CertificateKey.objects.get(fingerprint=certificate.key_fingerprint)
        return kept
    return _key_in_file(certificate.pdf_name)


def _public_side(kind: str, certificate: Any, above: Iterable[Any]) -> dict[str, Any]:
    own = x509.load_der_x509_certificate(certificate.dump())
    chain = [x509.load_der_x509_certificate(one.dump()) for one in above]
    pem = b"".join(one.public_bytes(serialization.Encoding.PEM) for one in (own, *chain))
    return {
        "kind": kind,
        "subject": own.subject.rfc4514_string()[:400],
        "issuer": own.issuer.rfc4514_string()[:400],
        "algorithm": _algorithm(own.public_key()),
        "valid_from": own.not_valid_before_utc,
        "valid_until": own.not_valid_after_utc,
        "pem": pem.decode(),
    }


def _algorithm(public: Any) -> str:
    if isinstance(public, ec.EllipticCurvePublicKey):
        return f"ECDSA {public.curve.name}"
    if isinstance(public, rsa.RSAPublicKey):
        return f"RSA {public.key_size}"
    return type(public).__name__


@lru_cache(maxsize=2048)
def _key_in_file(name: str) -> CertificateKey:
    """Not stored: the key that the PDF's own signature names."""
    from pyhanko.pdf_utils.reader import PdfFileReader

    signature = PdfFileReader(BytesIO(read_pdf(name))).embedded_signatures[0]
    own = signature.signer_cert
    return CertificateKey(
        fingerprint=hashlib.sha256(own.dump()).hexdigest(),
        **_public_side(CertificateKey.Kind.MADE, own, signature.other_embedded_certs),
    )
