"""The annex: small photos pinned by their hashes, and the certificate made again with them."""

from __future__ import annotations

import hashlib
import io
from dataclasses import replace
from typing import Any

import pypdf
import pytest
from django.core.files.storage import default_storage

from compliance.assess import assess_job, latest_assessment
from compliance.certificates.again import compare, document_again
from compliance.certificates.contents import Contents, contents_from_dict
from compliance.certificates.issue import issue_certificate
from compliance.certificates.pdf import draw_pdf
from compliance.certificates.photos import ROOM, PictureLost
from compliance.certificates.sheets import SHEET, template_of
from compliance.certificates.storage import read_pdf
from compliance.models import Certificate
from jobs.errors import Conflict
from jobs.evidence.content_store import keep
from jobs.evidence.erased_photos import mark_erased
from jobs.models import Job, Photo, PhotoInspection
from tests.compliance.scene import certified_scene, fitted, look_at
from tests.factories import PhotoFactory
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db
SHADES = iter(range(10_000))


def inspected_photo(**fields: object) -> Photo:
    """A photo whose small copy has a shade of its own."""
    return look_at(PhotoFactory(**fields), next(SHADES))


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


def words_of(pdf: bytes) -> list[str]:
    """The text of each page."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def test_each_small_photo_is_printed_with_its_point_and_alternative_text(certificate: Certificate):
    pdf = read_pdf(certificate.pdf_name)
    pages = words_of(pdf)

    assert [(p.point, p.moment) for p in contents_of(certificate).photos_shown] == [
        ("P1", "before"), ("P1", "after"), ("P2", "before"), ("P2", "after"),
    ]  # fmt: skip
    assert len(pages) == 2
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


EDITIONS = {
    1: "100e8ad701bcde924da2d3cc09a341830382bd57e31d89f92918b76de9740c81",
    2: "30a813212635ff5f7a740fb4aefad1fb984d7ee5e20c9ca23532d52f32720f25",
    3: "89bcc214255d51acde10a3229f597cf58db77acffc3ccfa786664ea3740b4d24",
    4: "5e34f15c47bae2dec0f5d631311dcb0e5f950922a887e21aeb5e0c191f254be1",
}  # fmt: skip


@pytest.mark.parametrize(("edition", "sha256"), EDITIONS.items())
def test_a_certificate_of_each_former_edition_is_made_again_byte_for_byte(
    monkeypatch: pytest.MonkeyPatch, edition: int, sha256: str
):
    """Its template is to the letter what it was when certificates were issued on it."""
    monkeypatch.setattr("compliance.certificates.contents.SHEET", edition)
    former = certified_scene()[1]
    monkeypatch.undo()

    assert hashlib.sha256(template_of(edition).read_bytes()).hexdigest() == sha256
    assert former.contents["sheet"] == edition < SHEET
    assert compare(Certificate.objects.get(pk=former.pk)).same_file


def test_the_sheet_names_the_readings_as_the_pages_do(certificate: Certificate):
    """Some that count lie below the full depth, within the rule's tolerance."""
    former = replace(contents_of(certificate), sheet=4)

    assert "readings counted" in words_of(read_pdf(certificate.pdf_name))[0]
    assert "readings at full depth" in words_of(draw_pdf(former))[0]


def test_what_set_it_is_named_as_the_file_names_it(certificate: Certificate):
    """Not by the number of the package that brings it, as sheets once did."""
    contents = contents_of(certificate)
    made_by = pypdf.PdfReader(io.BytesIO(read_pdf(certificate.pdf_name))).metadata

    assert contents.typesetter == made_by.creator
    earlier = replace(contents, sheet=3, typesetter="typst 0.15.2")
    assert "on edition 3 of this sheet by typst 0.15.2" in words_of(draw_pdf(earlier))[-1]


@pytest.mark.parametrize(
    ("photos", "exceptions", "pages"), [(4, 0, 2), (8, 2, 2), (12, 5, 2), (20, 9, 3)]
)
def test_no_page_of_the_annex_is_left_nearly_empty(
    certificate: Certificate, photos: int, exceptions: int, pages: int
):
    """One page for as much as jobs usually have; beyond that the photos fill another."""
    contents = contents_of(certificate)
    said = tuple(f"Main loft: {n} readings at the eaves stand apart." for n in range(exceptions))
    many = (contents.photos_shown * 7)[:photos]

    found = words_of(draw_pdf(replace(contents, exceptions=said, photos_shown=many)))

    assert len(found) == pages
    assert found[-1].count("P1, before") >= photos // 4
    assert "promise no saving" in found[-1]


def test_what_was_signed_as_pdf_2_is_repeated_as_such(monkeypatch: pytest.MonkeyPatch):
    """As certificates of the second edition were; those of today stay PDF 1.7."""
    assert b"/Version /2.0" not in read_pdf(certified_scene()[1].pdf_name)
    monkeypatch.setattr("compliance.certificates.contents.SHEET", 2)

    earlier = certified_scene()[1]

    assert b"/Version /2.0" in read_pdf(earlier.pdf_name)
    assert compare(Certificate.objects.get(pk=earlier.pk)).same_file


def test_what_no_point_asks_for_is_left_out_where_there_is_no_room():
    def many(**fields: object) -> Photo:
        for _ in range(4):
            photo = inspected_photo(**fields)
        return photo

    _, certificate = certified_scene(photo=many)
    shown = contents_of(certificate).photos_shown

    assert len(shown) == ROOM < 16
    assert {(p.point, p.moment) for p in shown} == {
        (point, moment) for point in ("P1", "P2") for moment in ("before", "after")
    }


def test_every_point_is_shown_however_many_there_are():
    scene = fitted(photo=inspected_photo)
    for number in range(3, 11):
        for moment in ("before", "after"):
            inspected_photo(visit=scene.visit, moment=moment, point_label=f"P{number}")
    assess_job(scene.job.pk)

    certificate = issue_certificate(scene.job.pk)

    shown = [(p.point, p.moment) for p in contents_of(certificate).photos_shown]
    assert shown == [(f"P{n}", moment) for n in range(1, 11) for moment in ("before", "after")]
    pages = pypdf.PdfReader(io.BytesIO(read_pdf(certificate.pdf_name))).pages
    printed = " ".join(" ".join(page.extract_text().split()) for page in pages)
    assert all(f"P{n}, {moment}" in printed for n, moment in [(1, "before"), (10, "after")])


def taken_and_not_looked_at(seed: int, **fields: Any) -> Photo:
    """A photo as a phone sends it, before any task came to it."""
    content = io.BytesIO(loft_jpeg(seed))
    kept = keep(content, "photos", limit_bytes=1_000_000)
    return PhotoFactory(
        sha256=kept.sha256, size_bytes=kept.size_bytes, original_name=kept.name, **fields
    )


def test_a_photo_that_no_task_came_to_yet_is_looked_at_and_printed():
    seeds = iter(range(10))
    scene = fitted(photo=lambda **fields: taken_and_not_looked_at(next(seeds), **fields))
    assess_job(scene.job.pk)
    assert not PhotoInspection.objects.exists()

    certificate = issue_certificate(scene.job.pk)

    assert len(contents_of(certificate).photos_shown) == 4
    assert compare(Certificate.objects.get(pk=certificate.pk)).same_file
    assert PhotoInspection.objects.filter(photo__job=scene.job, readable=True).count() == 4


def test_what_proves_to_be_no_picture_takes_the_verdict_back():
    scene = fitted()
    photo = scene.job.photos.get(moment="after", point_label="P2")
    photo.inspections.all()
    kept = keep(io.BytesIO(b"no picture at all"), "photos", limit_bytes=100)
    worse = PhotoFactory(
        visit=scene.visit, moment="after", point_label="P2", replaces=photo,
        sha256=kept.sha256, size_bytes=kept.size_bytes, original_name=kept.name,
    )  # fmt: skip
    assert assess_job(scene.job.pk).verdict == "meets"

    with pytest.raises(Conflict, match="it is: Unproven"):
        issue_certificate(scene.job.pk)

    assert not worse.inspections.get().readable
    assert latest_assessment(scene.job).missing[0].startswith("1 more photo taken after the work")
    assert not Certificate.objects.exists()


def test_nothing_is_issued_without_its_pictures():
    scene = fitted(photo=inspected_photo)
    assess_job(scene.job.pk)
    lost = scene.job.photos.get(moment="before", point_label="P1").inspections.get()
    default_storage.delete(lost.thumb_name)

    with pytest.raises(PictureLost, match=r"P1 \(before\) is not in storage"):
        issue_certificate(scene.job.pk)
    mark_erased(scene.job.photos.filter(moment="before"))
    with pytest.raises(PictureLost, match="2 taken before the work, and 0 can be shown"):
        issue_certificate(scene.job.pk)

    assert not Certificate.objects.exists()
    assert Job.objects.get(pk=scene.job.pk).stage == "to_assess"
