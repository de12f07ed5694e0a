"""Making a stored certificate again, to show that it says what the records say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from compliance.certificates.contents import contents_from_dict
from compliance.certificates.pdf import draw_pdf
from compliance.certificates.sheets import ONCE_WRITTEN_AS, typesetter, was_pdf_2
from compliance.certificates.signing import sign_pdf, signing_key
from compliance.certificates.storage import read_pdf
from compliance.models import Certificate


@dataclass(frozen=True, slots=True)
class MadeAgain:
    """How a certificate made again compares with the file that was issued.

    same_document: the bytes beneath the signature are the same. same_file: the signature is too;
    None where it can't be repeated, since another key signs today or the key lies on a device.
    typesetter: what set the stored one, where another version sets today.
    """

    same_document: bool
    same_file: bool | None
    typesetter: str

    @property
    def words(self) -> str:
        if not self.same_document:
            by = f" It was set by {self.typesetter}, another version than today's." * bool(
                self.typesetter
            )
            return f"Made again, the document differs from the file that was issued.{by}"
        signature = {
            True: "The signature is the same too.",
            False: "The signature differs.",
            None: "The signature can't be repeated by the key of today.",
        }[self.same_file]
        return f"Made again, the document is the same byte for byte. {signature}"


def document_again(certificate: Certificate) -> bytes:
    """The unsigned document of a stored certificate, from what its row remembers.

    Raises:
        PictureLost: a small photo is gone or changed.
    """
    return draw_pdf(contents_from_dict(certificate.contents))


def compare(certificate: Certificate) -> MadeAgain:
    """A signature is added behind the document, so the stored file must begin with it.

    Raises:
        PictureLost: a small photo is gone or changed.
    """
    document, stored = document_again(certificate), read_pdf(certificate.pdf_name)
    contents = contents_from_dict(certificate.contents)
    key = signing_key()
    same_file = None
    if key.repeats and certificate.key_fingerprint in ("", key.fingerprint):
        at, as_pdf_2 = datetime.fromisoformat(contents.issued_at), was_pdf_2(contents.sheet)
        same_file = sign_pdf(document, at, key, as_pdf_2=as_pdf_2) == stored
    set_by = ONCE_WRITTEN_AS.get(contents.typesetter, contents.typesetter)
    other = "" if set_by == typesetter() else set_by
    return MadeAgain(stored.startswith(document), same_file, other)
