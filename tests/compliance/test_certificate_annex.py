"""The annex: small photos pinned by their hashes, and the certificate made again with them."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest
from django.core.files.storage import default_storage
from PIL import Image

from compliance.certificates.again import compare, document_again
from compliance.certificates.contents import Contents, contents_from_dict
from compliance.certificates.pdf import draw_pdf
from compliance.certificates.photos import MOST_PHOTOS, PictureLost
from compliance.certificates.storage import read_pdf
from compliance.models import Certificate
from jobs.evidence.content_store import keep
from jobs.models import Photo, PhotoInspection
from tests.compliance.scene import certified_scene
from tests.factories import PhotoFactory

pytestmark = pytest.mark.django_db
SHADES = iter(range(10_000))


def inspected_photo(**fields: object) -> Photo:
    """A photo whose small copy was made: a plain picture in a shade of its own."""
    photo = PhotoFactory(**fields)
    shade = next(SHADES)
    file = io.BytesIO()
    Image.new("RGB", (64, 48), (shade % 256, shade // 256, 90)).save(file, "JPEG")
    kept = keep(io.BytesIO(file.getvalue()), "photo-copies", limit_bytes=100_000)
    PhotoInspection.objects.create(
        photo=photo,
        inspector_version="2",
        readable=True,
        width_px=64,
        height_px=48,
        exif_latitude_deg=51.5,
        exif_longitude_deg=-0.1,
        thumb_name=kept.name,
    )
    return photo


@pytest.fixture
def certificate() -> Certificate:
    return certified_scene(photo=inspected_photo)[1]


def contents_of(certificate: Certificate) -> Contents:
    return contents_from_dict(Certificate.objects.get(pk=certificate.pk).contents)


def figures_of(pdf: bytes) -> list[str]:
    """The alternative texts of the structure tree."""
    found: list[str] = []

    def walk(node: object) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if node.get("/S") == "/Figure":
                found.append(str(node.get("/Alt", "")))
            walk(node.get("/K", []))

    walk(pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"])
    return found


def test_each_small_photo_is_printed_with_its_point_and_alternative_text(certificate: Certificate):
    pdf = read_pdf(certificate.pdf_name)
    pages = [" ".join(p.extract_text().split()) for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]

    assert [(p.point, p.moment) for p in contents_of(certificate).photos_shown] == [
        ("P1", "before"), ("P1", "after"), ("P2", "before"), ("P2", "after"),
    ]  # fmt: skip
    assert "P1, before" in pages[-1]
    assert "P1, before" not in pages[0]
    photos = [alt for alt in figures_of(pdf) if alt.startswith("Photo of the loft at point")]
    assert len(photos) == 4
    assert b"51.5" not in pdf


def test_made_again_with_its_photos_it_is_the_same(certificate: Certificate):
    made = compare(Certificate.objects.get(pk=certificate.pk))

    assert (made.same_document, made.same_file, made.typesetter) == (True, True, "")


def test_a_photo_taken_afterwards_changes_nothing_of_it(certificate: Certificate):
    inspected_photo(visit=certificate.job.photos.first().visit, moment="after", point_label="P1")

    assert compare(Certificate.objects.get(pk=certificate.pk)).same_file


def test_a_small_photo_that_was_changed_or_lost_is_told(certificate: Certificate):
    first, second = contents_of(certificate).photos_shown[:2]
    with open(default_storage.path(first.copy), "r+b") as file:
        file.write(b"other")
    with pytest.raises(PictureLost, match="P1.*before.*was changed"):
        document_again(certificate)
    default_storage.delete(first.copy)

    with pytest.raises(PictureLost, match="not kept any more.*signed file itself is kept"):
        document_again(certificate)
    assert default_storage.exists(second.copy)


def test_an_earlier_sheet_is_still_set_as_it_was(certificate: Certificate):
    """What an earlier edition stored had no photos, edition or typesetter."""
    stored = Certificate.objects.get(pk=certificate.pk).contents
    earlier = {k: v for k, v in stored.items() if k not in ("photos_shown", "sheet", "typesetter")}

    pdf = draw_pdf(contents_from_dict(earlier))

    assert contents_from_dict(earlier).sheet == 1
    assert not [alt for alt in figures_of(pdf) if alt.startswith("Photo of")]
    assert pdf == draw_pdf(replace(contents_of(certificate), sheet=1))


def test_more_photos_than_the_annex_holds_are_kept_with_the_job():
    def many(**fields: object) -> Photo:
        for _ in range(4):
            photo = inspected_photo(**fields)
        return photo

    _, certificate = certified_scene(photo=many)
    shown = contents_of(certificate).photos_shown

    assert len(shown) == MOST_PHOTOS < 16
    assert {(p.point, p.moment) for p in shown} == {
        (point, moment) for point in ("P1", "P2") for moment in ("before", "after")
    }
