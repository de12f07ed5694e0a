"""The offline verifier looks at the signature of certificates, not at their hash alone."""

from __future__ import annotations

import pytest

from compliance.certificates import issue
from compliance.certificates.key_sources import MADE, from_pem
from compliance.certificates.pdf import draw_pdf
from compliance.certificates.signing import make_key_and_certificate, sign_pdf
from compliance.ledger.seals import make_seal
from compliance.packs.scope import PackScope
from tests.compliance.pack_scene import check, files_of, stored_photo
from tests.compliance.scene import certified_scene

pytestmark = pytest.mark.django_db


def told_of_a_pack() -> list[str]:
    scene, _ = certified_scene(photo=stored_photo)
    make_seal()
    return [str(fault) for fault in check(files_of(PackScope([scene.job.pk], "One job"))).faults]


MAKE_PDF = issue.make_pdf


def changed_afterwards(contents):
    return MAKE_PDF(contents).replace(b"/Type", b"/Tipe", 1)


def signed_by_another(contents):
    key = from_pem(make_key_and_certificate(), "", kind=MADE, said="another key")
    return sign_pdf(draw_pdf(contents), issue.datetime.fromisoformat(contents.issued_at), key)


def test_a_certificate_as_it_should_be_is_sound():
    assert told_of_a_pack() == []


@pytest.mark.parametrize(
    ("make_pdf", "said"),
    [
        (draw_pdf, "its signature is missing"),
        (changed_afterwards, "the file was changed"),
        (signed_by_another, "is signed by another key than its entry names"),
    ],
    ids=["unsigned", "changed after it was signed", "another key"],
)
def test_a_file_that_was_recorded_but_is_not_signed_is_named(monkeypatch, make_pdf, said):
    """Its SHA-256 is what the entry has; only the signature tells."""
    monkeypatch.setattr(issue, "make_pdf", make_pdf)

    told = told_of_a_pack()

    assert len(told) == 1
    assert told[0].startswith("certificate ")
    assert said in told[0]
