"""The signature of certificates, checked by software that did not make it.

Three checkers: `compliance.verify.pdf_signature`, our own reading of RFC 5652 with Python alone, as
the offline verifier runs it; `asn1crypto` with `cryptography` (OpenSSL), which parse CMS and
certificate and verify; and Poppler's `pdfsig`, a validator that shares no code with what signed: it
opens the PDF by itself, finds the signature's field and checks it with NSS. None of them sees
whether a certificate authority stands behind the key, whether it was revoked, nor when the file was
signed (there is no time stamp of a third party); `pdfsig` tells the subfilter of PAdES but does not
check the attributes that ETSI EN 319 142-1 asks for, which the second reads.
"""

from __future__ import annotations

import hashlib
import random
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import typst
from asn1crypto import cms
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.x509.oid import NameOID

from compliance.certificates.key_sources import MADE, SigningKey, from_pem
from compliance.certificates.signing import make_key_and_certificate, sign_pdf
from compliance.verify import certificate_keys
from compliance.verify.certificate_keys import UnknownKind
from compliance.verify.pdf_signature import BadSignature, check_signature
from jobs.papers.typesetting import packaged_fonts

AT = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def key_of(pem: bytes) -> SigningKey:
    return from_pem(pem, "", kind=MADE, said="a test's key")


def own_pem(private: ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey) -> bytes:
    """Another key than the service makes by itself, with a certificate of its own."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "A key of one's own")])
    builder = x509.CertificateBuilder(name, name, private.public_key(), 7)
    builder = builder.not_valid_before(AT - timedelta(days=3000))
    builder = builder.not_valid_after(AT + timedelta(days=9000))
    certificate = builder.sign(private, hashes.SHA256())
    return private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + certificate.public_bytes(serialization.Encoding.PEM)


KEYS = {
    "P-256, as made at the first start": make_key_and_certificate,
    "P-384": lambda: own_pem(ec.generate_private_key(ec.SECP384R1())),
    "RSA, 2048 bits": lambda: own_pem(rsa.generate_private_key(65537, 2048)),
}


@pytest.fixture(scope="module")
def plain() -> bytes:
    """An unsigned PDF as our papers are."""
    template = '= A paper\n#sys.inputs.at("said", default: "as signed")'
    return typst.compile(template.encode(), format="pdf", font_paths=packaged_fonts())


@pytest.fixture(scope="module", params=KEYS)
def signed(request: pytest.FixtureRequest, plain: bytes) -> tuple[bytes, SigningKey]:
    key = key_of(KEYS[request.param]())
    return sign_pdf(plain, AT, key), key


def test_a_signed_file_is_sound_and_names_its_key(
    signed: tuple[bytes, SigningKey], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By OpenSSL, and by Python alone."""
    pdf, key = signed

    assert check_signature(pdf).fingerprint == key.fingerprint
    monkeypatch.setattr(certificate_keys, "ec", None)
    assert check_signature(pdf).fingerprint == key.fingerprint


def test_openssl_says_the_same(signed: tuple[bytes, SigningKey]) -> None:
    """RFC 5652, section 5.4: the digest of the bytes, then the signature over the attributes."""
    pdf, key = signed
    found = by_openssl(pdf)

    assert found == key.fingerprint
    with pytest.raises(InvalidSignature):
        by_openssl(pdf.replace(b"/Type", b"/Tipe", 1))


def test_poppler_finds_it_valid_over_the_whole_file(
    signed: tuple[bytes, SigningKey], pdfsig_path: str, tmp_path: Path
) -> None:
    """PAdES (ETSI EN 319 142-1) names its signatures `ETSI.CAdES.detached`."""
    pdf, _ = signed
    told = by_poppler(pdfsig_path, tmp_path, pdf)

    assert told["Signature Validation"] == "Signature is Valid."
    assert told["Signature Type"] == "ETSI.CAdES.detached"
    assert told["whole"] == "yes"


def test_poppler_finds_what_was_changed_or_added(
    signed: tuple[bytes, SigningKey], pdfsig_path: str, tmp_path: Path
) -> None:
    pdf, _ = signed
    changed = by_poppler(pdfsig_path, tmp_path, pdf.replace(b"/Type", b"/Tipe", 1))
    longer = by_poppler(pdfsig_path, tmp_path, pdf + b"\n% added\n")

    assert changed["Signature Validation"] == "Digest Mismatch."
    assert longer["whole"] == "no"


def by_poppler(program: str, folder: Path, pdf: bytes) -> dict[str, str]:
    """What pdfsig tells of the only signature, by its own words; `whole`: nothing is unsigned."""
    path = folder / "signed.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(
        [program, "-nocert", str(path)], capture_output=True, text=True, check=False
    )
    assert done.stdout.count("Signature #") == 1, done.stdout + done.stderr
    lines = [line.strip("- ").strip() for line in done.stdout.splitlines()]
    told = dict(line.split(": ", 1) for line in lines if ": " in line)
    return told | {"whole": "yes" if "Total document signed" in lines else "no"}


def by_openssl(pdf: bytes) -> str:
    """SHA-256 of the signer's certificate. Raises InvalidSignature."""
    start, length, second, rest = map(int, pdf.split(b"/ByteRange")[1].split(b"]")[0][2:].split())
    assert (start, second + rest) == (0, len(pdf))
    packed = cms.ContentInfo.load(bytes.fromhex(pdf[length + 1 : second - 1].decode()))
    signer = packed["content"]["signer_infos"][0]
    named = {one["type"].native: one["values"][0].native for one in signer["signed_attrs"]}
    certificate = x509.load_der_x509_certificate(packed["content"]["certificates"][0].chosen.dump())
    text = signer["signed_attrs"].untag().dump()
    signature, public = signer["signature"].native, certificate.public_key()
    if isinstance(public, rsa.RSAPublicKey):
        public.verify(signature, text, padding.PKCS1v15(), hashes.SHA256())
    else:
        assert isinstance(public, ec.EllipticCurvePublicKey)
        public.verify(signature, text, ec.ECDSA(hashes.SHA256()))
    if named["message_digest"] != hashlib.sha256(pdf[:length] + pdf[second:]).digest():
        raise InvalidSignature
    return certificate.fingerprint(hashes.SHA256()).hex()


@pytest.mark.parametrize("alone", [False, True], ids=["openssl", "python"])
def test_no_changed_byte_is_taken_for_signed(
    signed: tuple[bytes, SigningKey], monkeypatch: pytest.MonkeyPatch, alone: bool
) -> None:
    """Random bits, most of them under the signature, some of the signature itself."""
    pdf, key = signed
    if alone:
        monkeypatch.setattr(certificate_keys, "ec", None)
    chance = random.Random(5652)
    held = pdf.index(b"/Contents <") + 11
    end_of_signature = held + len(pdf[held:].split(b"0" * 200)[0])
    places = [chance.randrange(len(pdf)) for _ in range(100)]
    places += [chance.randrange(held, end_of_signature) for _ in range(40)]
    taken = [at for at in places if as_signed(changed(chance, pdf, at), key)]

    # Within the signature's own digits a bit may turn a into A, or change what nobody signs.
    assert [at for at in taken if not held <= at < end_of_signature] == []
    assert len(taken) < 40


def changed(chance: random.Random, pdf: bytes, at: int) -> bytes:
    return pdf[:at] + bytes([pdf[at] ^ 1 << chance.randrange(8)]) + pdf[at + 1 :]


def as_signed(pdf: bytes, key: SigningKey) -> bool:
    try:
        return check_signature(pdf).fingerprint == key.fingerprint
    except (BadSignature, UnknownKind):
        return False


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda pdf: pdf + b"\n%%EOF\n", "does not cover the whole file"),
        (lambda pdf: pdf.replace(b"/ByteRange", b"/ByteRunge"), "is missing"),
        (lambda pdf: pdf.replace(b"obj", b"OBJ", 1), "the file was changed"),
    ],
)
def test_what_is_wrong_is_said(plain: bytes, change, said: str) -> None:
    pdf = sign_pdf(plain, AT, key_of(make_key_and_certificate()))

    with pytest.raises(BadSignature, match=said):
        check_signature(change(pdf))


def test_a_key_of_an_unknown_kind_is_not_called_bad(plain: bytes) -> None:
    pdf = sign_pdf(plain, AT, key_of(own_pem(ec.generate_private_key(ec.SECP521R1()))))

    with pytest.raises(UnknownKind, match="another curve"):
        check_signature(pdf)
