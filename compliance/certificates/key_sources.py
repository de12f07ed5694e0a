"""Where the key that signs certificates comes from: made here, a file, or a device.

`CERTIFICATE_KEY_STORE` names a PEM or PKCS#12 file, `CERTIFICATE_KEY_PASSWORD` what opens it.
`CERTIFICATE_TOKEN_MODULE` names the PKCS#11 library of a device, with the label of its token, the
PIN, and the label that key and certificate bear on it. With neither, the key is the one made at
the first start.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from asn1crypto import keys as asn1_keys
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from django.core.exceptions import ImproperlyConfigured

LEAST_RSA_BITS = 2048
PKCS12_ENDINGS = (".p12", ".pfx")
CURVES = (ec.SECP256R1, ec.SECP384R1, ec.SECP521R1)
MADE, FILE, DEVICE = "made", "file", "device"


@dataclass(frozen=True, slots=True)
class SigningKey:
    """What signs, and the certificate that says whose key it is, with the chain above it.

    signing_key: the private key, None where it lies on a device. device: pyHanko's signer then.
    """

    kind: str
    signing_cert: Any
    chain: tuple[Any, ...] = ()
    signing_key: Any = None
    device: Any = None

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, to compare with what a reader of the PDF shows."""
        return hashlib.sha256(self.signing_cert.dump()).hexdigest()

    @property
    def repeats(self) -> bool:
        """Whether the same bytes are signed to the same signature."""
        return self.signing_key is not None


def from_pem(pem: bytes, password: str, *, kind: str, said: str) -> SigningKey:
    """A private key and its certificate, then the chain, all in one PEM text.

    said: how the source is called in what is raised.

    Raises:
        ImproperlyConfigured: it holds no such pair, or the password does not open it.
    """
    try:
        private = serialization.load_pem_private_key(pem, password.encode() or None)
    except TypeError as error:
        raise ImproperlyConfigured(_about_password(said, bool(password))) from error
    except ValueError as error:
        raise ImproperlyConfigured(
            f"{said} holds no private key that can be read"
            f"{' with CERTIFICATE_KEY_PASSWORD' if password else ''}. It must be a PEM file with "
            "the private key and its certificate, or a PKCS#12 file that ends in .p12 or .pfx."
        ) from error
    try:
        certificates = x509.load_pem_x509_certificates(pem)
    except ValueError as error:
        raise ImproperlyConfigured(
            f"{said} holds a private key but no certificate. Add the certificate below the key."
        ) from error
    return _pair(private, certificates, kind=kind, said=said)


def from_file(name: str, password: str) -> SigningKey:
    """The pair of a PEM or PKCS#12 file.

    Raises:
        ImproperlyConfigured: it can't be read, opened or used for signing.
    """
    said = f"CERTIFICATE_KEY_STORE names {name}, which"
    try:
        content = Path(name).read_bytes()
    except OSError as error:
        raise ImproperlyConfigured(f"{said} can't be read: {error.strerror}.") from error
    if not name.lower().endswith(PKCS12_ENDINGS):
        return from_pem(content, password, kind=FILE, said=said)
    try:
        store = pkcs12.load_pkcs12(content, password.encode() or None)
    except ValueError as error:
        raise ImproperlyConfigured(
            f"{said} can't be opened: it is no PKCS#12 file, or CERTIFICATE_KEY_PASSWORD "
            f"({'set' if password else 'not set'}) is not its password."
        ) from error
    if store.key is None or store.cert is None:
        raise ImproperlyConfigured(f"{said} must hold a private key and its certificate.")
    certificates = [store.cert.certificate, *(one.certificate for one in store.additional_certs)]
    return _pair(store.key, certificates, kind=FILE, said=said)


def from_device(token: Mapping[str, str]) -> SigningKey:
    """The key of a PKCS#11 token; it never leaves the device. Needs the extra `pkcs11`.

    Raises:
        ImproperlyConfigured: a setting or the library is missing, or the device refuses.
    """
    check_device_settings(token)
    try:
        from pyhanko.config.pkcs11 import TokenCriteria
        from pyhanko.sign.pkcs11 import PKCS11Signer, open_pkcs11_session
    except ImportError as error:
        raise ImproperlyConfigured(
            "CERTIFICATE_TOKEN_MODULE is set, but the Python library for PKCS#11 is not "
            "installed. Install this project with its extra: pip install '.[pkcs11]'."
        ) from error
    try:
        session = open_pkcs11_session(
            token["module"],
            token_criteria=TokenCriteria(label=token["label"]),
            user_pin=token["pin"],
        )
        # The digest is made here and the device signs it: not every device has both in one.
        device = PKCS11Signer(
            session, cert_label=token["key"], key_label=token["key"], use_raw_mechanism=True
        )
        asyncio.run(device.ensure_objects_loaded())
    except Exception as error:  # every maker's library raises its own
        raise ImproperlyConfigured(_why_refused(error, token)) from error
    _refuse_out_of_date(x509.load_der_x509_certificate(device.signing_cert.dump()), "The device")
    return SigningKey(DEVICE, device.signing_cert, device=device)


def _why_refused(error: Exception, token: Mapping[str, str]) -> str:
    """What the device says, with the setting to look at; by the names of PKCS #11 v2.40, 5."""
    kind, said = type(error).__name__, str(error).rstrip(".")
    if kind.startswith("Pin") or kind == "UserPinNotInitialized":
        why = "it does not take the PIN of CERTIFICATE_TOKEN_PIN"
        why += " and has locked it" * (kind == "PinLocked")
    elif "No token" in said or kind in ("TokenNotPresent", "NoSuchToken"):
        why = f"it has no token labelled “{token['label']}”: look at CERTIFICATE_TOKEN_LABEL"
    elif "Could not find" in said or kind in ("NoSuchKey", "MultipleObjectsReturned"):
        why = (
            f"its token has no key with a certificate that both bear the label “{token['key']}”: "
            "look at CERTIFICATE_TOKEN_KEY"
        )
    elif "loading" in said or kind in ("AlreadyInitialized", "GeneralError"):
        why = "that file can't be loaded as a PKCS#11 library, or it finds no settings of its own"
    else:
        why = "look at CERTIFICATE_TOKEN_LABEL, _PIN and _KEY"
    return f"CERTIFICATE_TOKEN_MODULE: the device refuses; {why}. It says: {said or kind}."


def check_device_settings(token: Mapping[str, str]) -> None:
    """Raises ImproperlyConfigured for what is missing, before any device is asked."""
    lacking = [f"CERTIFICATE_TOKEN_{name.upper()}" for name, value in token.items() if not value]
    if lacking:
        raise ImproperlyConfigured(
            f"{' and '.join(lacking)} must be set too when a device signs certificates."
        )
    if not Path(token["module"]).is_file():
        raise ImproperlyConfigured(
            f"CERTIFICATE_TOKEN_MODULE names {token['module']}, which is no file. It is the "
            "PKCS#11 library that came with the device, such as /usr/lib/…/….so."
        )


def _pair(private: Any, given: Sequence[x509.Certificate], *, kind: str, said: str) -> SigningKey:
    """The key with the certificate that is its own, the others as chain."""
    _refuse_unfit(private, said)
    public = _spki(private.public_key())
    mine = [one for one in given if _spki(one.public_key()) == public]
    if not mine:
        raise ImproperlyConfigured(
            f"{said} holds a certificate that belongs to another key. Put the key's own there."
        )
    _refuse_out_of_date(mine[0], said)
    return SigningKey(
        kind,
        _asn1(mine[0]),
        tuple(_asn1(one) for one in given if one is not mine[0]),
        asn1_keys.PrivateKeyInfo.load(
            private.private_bytes(
                serialization.Encoding.DER,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        ),
    )


def _refuse_unfit(private: Any, said: str) -> None:
    fit = isinstance(private, ec.EllipticCurvePrivateKey) and isinstance(private.curve, CURVES)
    fit = fit or (isinstance(private, rsa.RSAPrivateKey) and private.key_size >= LEAST_RSA_BITS)
    if not fit:
        raise ImproperlyConfigured(
            f"{said} holds a key of a kind that PDF readers don't verify. Use EC (P-256, P-384, "
            f"P-521) or RSA of {LEAST_RSA_BITS} bits or more."
        )


def _refuse_out_of_date(certificate: x509.Certificate, said: str) -> None:
    if certificate.not_valid_after_utc < datetime.now(UTC):
        raise ImproperlyConfigured(
            f"{said} holds a certificate that ran out on "
            f"{certificate.not_valid_after_utc:%Y-%m-%d}. Put a valid one there; certificates "
            "signed before stay verifiable."
        )


def _about_password(said: str, given: bool) -> str:
    if given:
        return f"{said} is not encrypted, but CERTIFICATE_KEY_PASSWORD is set. Take it away."
    return f"{said} is encrypted. Set CERTIFICATE_KEY_PASSWORD, or _FILE to a file that holds it."


def _spki(public: Any) -> bytes:
    return bytes(
        public.public_bytes(
            serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
        )
    )


def _asn1(certificate: x509.Certificate) -> asn1_x509.Certificate:
    return asn1_x509.Certificate.load(certificate.public_bytes(serialization.Encoding.DER))
