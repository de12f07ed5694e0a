"""Certificates against PDF/UA-1 (ISO 14289-1), by a validator that is not ours: `pdfua` 0.1.3.

It is the only general validator of tagging on the Python registry that runs without Java, and
checks 16 of the 106 machine-checkable rules (the one on empty headings it skips here, stumbling
over arrays in the structure tree): structure tree, tagged content, language, alternative
text, determinable tables, links, title and identification. It cannot see fonts, colours, reading
order, nesting of list and table elements, or whether a text says what its picture shows. PDF/A
is looked at in `test_pdf_a`.
"""

from __future__ import annotations

import pytest
from pdfua import validate

from compliance.certificates.storage import read_pdf
from tests.compliance.scene import certified_scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def pdf() -> bytes:
    return read_pdf(certified_scene()[1].pdf_name)


def found_in(pdf: bytes, path) -> list[str]:
    file = path / "certificate.pdf"
    file.write_bytes(pdf)
    return [finding.rule_id for finding in validate(file).findings]


def test_a_certificate_passes_every_rule_that_is_checked(pdf: bytes, tmp_path):
    assert found_in(pdf, tmp_path) == []


@pytest.mark.parametrize(
    ("said", "instead", "rule"),
    [
        (b"/Lang", b"/Lung", "UA-06-001"),
        (b"/Marked true", b"/Marked null", "UA-01-002"),
        (b"/StructTreeRoot", b"/StructTreeRuut", "UA-01-005"),
    ],
)
def test_the_validator_sees_what_is_taken_away(pdf: bytes, tmp_path, said, instead, rule):
    assert said in pdf
    assert rule in found_in(pdf.replace(said, instead), tmp_path)
