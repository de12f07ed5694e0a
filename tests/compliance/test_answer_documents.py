"""PDF documents that come with answers: plain ones are counted, what else they carry is refused.

The documents are made with pypdf, and read with another library; what is refused goes by the
dictionaries of ISO 32000-2 (12.6.4 actions, 7.11.4 embedded files, 7.6 encryption).
"""

from __future__ import annotations

import io

import pytest
from pypdf import PdfReader

from compliance.audits import pdf_child, pdf_documents
from jobs.errors import Refused
from tests.compliance.paper import changed_pdf, opens_with, plain_pdf


def test_pages_of_a_plain_document_are_counted_as_pypdf_counts_them():
    content = plain_pdf(3)

    assert pdf_child.look(content) == {
        "pages": len(PdfReader(io.BytesIO(content)).pages),
        "found": [],
    }


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        pytest.param(changed_pdf(opens_with("/JavaScript")), "script", id="a script"),
        pytest.param(changed_pdf(opens_with("/Launch")), "launch", id="starts a program"),
        pytest.param(changed_pdf(opens_with("/SubmitForm")), "launch", id="sends a form"),
        pytest.param(
            changed_pdf(lambda pdf: pdf.add_attachment("a.txt", b"x")), "files", id="files inside"
        ),
        pytest.param(changed_pdf(lambda pdf: pdf.encrypt("word")), "encrypted", id="a password"),
        pytest.param(
            changed_pdf(lambda pdf: pdf.encrypt("")), "encrypted", id="locked, no password"
        ),
    ],
)
def test_what_a_document_has_no_need_of_is_refused_with_a_way_out(content, kind, monkeypatch):
    told = pdf_child.look(content)
    monkeypatch.setattr(pdf_documents, "_look", lambda file: told)

    with pytest.raises(Refused) as refusal:
        pdf_documents.require_plain(io.BytesIO(content), len(content))

    assert kind in told["found"]
    assert refusal.value.message == pdf_documents.WHY_REFUSED[told["found"][0]]
    assert refusal.value.remedy == pdf_documents.PRINT_IT


def test_a_document_that_only_begins_and_ends_like_one_is_refused():
    """In a process of its own, as when it is sent: whatever happens there, a refusal comes back."""
    content = b"%PDF-1.7\n" + b"\x00nonsense" * 400 + b"\n%%EOF\n"

    with pytest.raises(Refused, match="can't be read as a PDF"):
        pdf_documents.require_plain(io.BytesIO(content), len(content))


@pytest.mark.parametrize(("pages", "said"), [(0, "no page"), (301, "301 pages")])
def test_a_document_without_pages_or_with_too_many_is_refused(monkeypatch, pages, said):
    told = {"pages": pages, "found": []}
    monkeypatch.setattr(pdf_documents, "_look", lambda file: told)

    with pytest.raises(Refused, match=said):
        pdf_documents.require_plain(io.BytesIO(plain_pdf()), len(plain_pdf()))
