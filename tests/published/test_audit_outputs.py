"""An audit's pack, report and draw against the standards and papers they follow."""

from __future__ import annotations

import hashlib
import io
import os
import re
import zipfile
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import bagit
import pypdf
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from calculations.sampling import draw_seed
from calculations.sampling.population import PopulationLine, draw_from, strata_of
from compliance.audits.pack import round_scope
from compliance.audits.report import report_pdf
from compliance.certificates.signing import signing_key
from compliance.verify import ed25519, layout
from compliance.verify.draws import repeated_draw
from compliance.verify.pdf_signature import check_signature
from tests.compliance.audit_scene import read_round
from tests.compliance.pack_scene import pack_of

MADE_AT = datetime(2026, 11, 25, 6, 30, tzinfo=ZoneInfo("Europe/London"))

# RFC 8032, section 7.1, tests 1 to 3: public key, message, signature.
VECTORS = [
    (
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
        "f9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0"
        "f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f76098"
        "4dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("key", "message", "signature"), VECTORS, ids=["1", "2", "3"])
def test_signatures_of_the_rfc_are_good_and_changed_ones_are_not(key, message, signature):
    """RFC 8032 (Ed25519), section 7.1; the vectors are from memory, and proved by holding."""
    public, text, sign = (bytes.fromhex(part) for part in (key, message, signature))

    assert ed25519.verify(public, sign, text)
    assert not ed25519.verify(public, sign, text + b"\0")
    scalar = int.from_bytes(sign[32:], "little") + ed25519.L
    assert not ed25519.verify(public, sign[:32] + scalar.to_bytes(32, "little"), text)


def test_signatures_are_judged_as_cryptography_does():
    """OpenSSL's Ed25519 through `cryptography` signs; a flipped bit anywhere is found."""
    for n in range(20):
        key, text = Ed25519PrivateKey.generate(), os.urandom(n * 11)
        public, signature = key.public_key().public_bytes_raw(), key.sign(text)
        broken = bytearray(signature)
        broken[(n * 13) % 64] ^= 1 << n % 8
        assert ed25519.verify(public, signature, text)
        assert not ed25519.verify(public, bytes(broken), text)


@pytest.mark.parametrize("strata", [0, 3])
@pytest.mark.parametrize("widenings", [0, 1, 4])
def test_the_verifiers_own_draw_is_that_of_the_engine(strata: int, widenings: int):
    """Knuth, TAOCP 2, 3.4.2, algorithm P, written twice: in `calculations.sampling` with a map
    of exchanged places, in the verifier on the list itself."""
    for n in range(25):
        nonce, root = hashlib.sha256(b"n%d" % n).digest(), hashlib.sha256(b"r%d" % n).digest()
        lines = [
            PopulationLine(f"J-{i:06}", f"S {i % strata}" if strata else "", 1.0)
            for i in range(20 + n)
        ]
        shares = strata_of(lines, 8)
        engine = draw_from(draw_seed(nonce, root, f"round-{n}"), lines, shares, widenings)

        again = repeated_draw(
            nonce,
            root,
            f"round-{n}",
            [(line.name, line.stratum) for line in lines],
            [(s.name, s.sample) for s in shares],
            widenings,
        )

        assert again == [(job.name, job.stratum) for job in engine]


@pytest.mark.django_db
def test_pack_and_report_of_a_round(tmp_path: Path):
    """RFC 8493 by the Library of Congress's `bagit`; ISO 19005-2 clause 6.6.4 and ISO 14289-1
    clause 5 by the report's own declaration, read with `pypdf`: tagged PDF/A-2a and PDF/UA-1,
    every picture with a description (ISO 14289-1, 7.3). ETSI EN 319 142-1, level B-B, by
    pyHanko's validator of the report's signature, which is made with pyHanko too."""
    scene = read_round()
    with zipfile.ZipFile(io.BytesIO(pack_of(round_scope(scene.record, scene.auditor)))) as packed:
        packed.extractall(tmp_path)
    (folder,) = tmp_path.iterdir()

    bag = bagit.Bag(str(folder))
    bag.validate()
    assert {layout.AUDIT_ROUND, layout.VERIFIER} <= set(bag.payload_files())

    paper = report_pdf(scene.record, scene.auditor, made_at=MADE_AT)
    assert paper == report_pdf(scene.record, scene.auditor, made_at=MADE_AT)
    root = pypdf.PdfReader(io.BytesIO(paper)).trailer["/Root"]
    metadata = root["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfaid:part[>=\"]+2", metadata)
    assert re.search(r"pdfaid:conformance[>=\"]+A", metadata)
    assert re.search(r"pdfuaid:part[>=\"]+1", metadata)
    assert root["/MarkInfo"]["/Marked"] and root["/StructTreeRoot"]
    embedded = PdfFileReader(io.BytesIO(paper)).embedded_signatures[0]
    trusted = ValidationContext(trust_roots=[signing_key().signing_cert])
    status = validate_pdf_signature(embedded, signer_validation_context=trusted)
    assert embedded.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
    assert status.bottom_line and status.coverage.name == "ENTIRE_FILE"
    assert check_signature(paper).fingerprint == signing_key().fingerprint
    figures = [e for e in elements(root["/StructTreeRoot"]) if e.get("/S") == "/Figure"]
    assert len(figures) >= 5
    assert all(figure.get("/Alt") for figure in figures)


def elements(tree) -> list:
    """Every element of the structure tree."""
    found, todo = [], [tree]
    while todo:
        node = todo.pop()
        if isinstance(node, pypdf.generic.DictionaryObject):
            found.append(node)
            kids = node.get("/K", [])
            kids = kids if isinstance(kids, list) else [kids]
            todo += [kid.get_object() for kid in kids if hasattr(kid, "get_object")]
    return found
