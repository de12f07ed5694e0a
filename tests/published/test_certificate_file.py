"""The certificate's file, looked at by software that is not ours."""

from __future__ import annotations

import re
from io import BytesIO

import pypdf
import pypdfium2
import pytest
import zxingcpp
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import ModificationLevel
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from compliance.certificates.signing import signing_key
from compliance.certificates.storage import read_pdf
from tests.compliance.scene import certified_scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def certificate():
    return certified_scene()[1]


@pytest.fixture
def pdf(certificate) -> bytes:
    return read_pdf(certificate.pdf_name)


def status_of(pdf: bytes):
    embedded = PdfFileReader(BytesIO(pdf)).embedded_signatures[0]
    trusted = ValidationContext(trust_roots=[signing_key().signing_cert])
    return embedded, validate_pdf_signature(embedded, signer_validation_context=trusted)


def test_the_signature_is_pades_and_covers_the_whole_file(pdf: bytes):
    """ETSI EN 319 142-1 (PAdES baseline, level B-B), validated by `pyHanko` 0.38.

    The signature is made with pyHanko too, so this is its validator on its own output; the
    cryptography beneath both is OpenSSL's.
    """
    embedded, status = status_of(pdf)

    assert embedded.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
    assert status.bottom_line
    assert status.coverage.name == "ENTIRE_FILE"
    assert status.modification_level == ModificationLevel.NONE
    assert status.signing_cert.public_key.curve == ("named", "secp256r1")


def test_one_changed_byte_is_found(pdf: bytes):
    """ISO 32000-2, 12.8.1: the byte range digest no longer fits."""
    position = pdf.index(b"stream") + 40
    changed = pdf[:position] + bytes([pdf[position] ^ 1]) + pdf[position + 1 :]

    _, status = status_of(changed)

    assert not status.intact
    assert not status.bottom_line


def test_it_declares_pdf_a_2a_and_pdf_ua_1_and_is_tagged(pdf: bytes):
    """ISO 19005-2 clause 6.6.4 and ISO 14289-1 clause 5: the identification in the metadata.

    Read with `pypdf` and `re`: the file's own declaration. Whether it holds is looked at in
    `test_pdf_a` and `test_tagging`.
    """
    reader = pypdf.PdfReader(BytesIO(pdf))
    root = reader.trailer["/Root"]
    metadata = root["/Metadata"].get_object().get_data().decode()

    assert re.search(r"pdfaid:part[>=\"]+2", metadata)
    assert re.search(r"pdfaid:conformance[>=\"]+A", metadata)
    assert re.search(r"pdfuaid:part[>=\"]+1", metadata)
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/StructTreeRoot"]
    assert "/OutputIntents" in root


def test_every_font_is_embedded(pdf: bytes):
    """ISO 19005-2 clause 6.2.11.4: font programs are embedded."""
    fonts = {}
    for page in pypdf.PdfReader(BytesIO(pdf)).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            for descendant in font.get_object().get("/DescendantFonts", [font]):
                descriptor = descendant.get_object()["/FontDescriptor"]
                fonts[descriptor["/FontName"]] = set(descriptor.keys())

    assert fonts
    for name, keys in fonts.items():
        assert keys & {"/FontFile2", "/FontFile3"}, name
        assert "SourceS" in name


def test_every_picture_has_words_in_its_place(pdf: bytes):
    """ISO 14289-1 clause 7.3: a figure has alternative text. Walks the structure tree."""
    figures = []

    def walk(node) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if node.get("/S") == "/Figure":
                figures.append(node.get("/Alt", ""))
            walk(node.get("/K", []))

    walk(pypdf.PdfReader(BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"])

    assert len(figures) >= 4
    assert all(figures)


def test_the_square_on_the_page_leads_to_the_check_page(certificate, pdf: bytes, settings):
    """ISO/IEC 18004, read by `zxing-cpp` from the page as `pypdfium2` renders it at 150 dpi."""
    page = pypdfium2.PdfDocument(pdf)[0]
    picture = page.render(scale=150 / 72).to_pil()

    found = zxingcpp.read_barcodes(picture)

    assert [code.text for code in found] == [f"{settings.PUBLIC_ADDRESS}/check/{certificate.code}/"]
    assert found[0].format == zxingcpp.BarcodeFormat.QRCode
