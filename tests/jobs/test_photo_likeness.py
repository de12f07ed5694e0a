"""Near pictures are found, whatever was done to them on the way; others are left alone."""

from __future__ import annotations

import io
import random

import numpy as np
import pytest
from django.db import connection
from PIL import Image, ImageEnhance

from jobs.evidence.alignment import SAME, agreement, show_the_same
from jobs.evidence.inspection import inspect
from jobs.evidence.looks import distance, hashes_of, look_of, perceptual_hash
from jobs.models import Photo, PhotoHash, PhotoInspection
from jobs.models.photo_hashes import NEAR, RADIUS, SURE_RADIUS
from tests.factories import PhotoFactory
from tests.jobs.on_site_scene import Scene, scene_on_site, stored
from tests.pictures import loft_jpeg, saved

MASK = (1 << 64) - 1


def picture(seed: int = 4, **shows: object) -> Image.Image:
    return Image.open(io.BytesIO(loft_jpeg(seed, **shows))).convert("RGB")


def trimmed(image: Image.Image, left: float, top: float, right: float, bottom: float):
    """The picture less these shares of its sides."""
    width, height = image.size
    box = (left * width, top * height, (1 - right) * width, (1 - bottom) * height)
    return image.crop(tuple(map(round, box)))  # type: ignore[arg-type]


ALTERED = {
    "saved with much compression": lambda p: Image.open(io.BytesIO(saved(p, "JPEG", quality=25))),
    "made smaller": lambda p: p.resize((640, 480)),
    "made larger": lambda p: p.resize((2000, 1500)),
    "brighter": lambda p: ImageEnhance.Brightness(p).enhance(1.3),
    "darker": lambda p: ImageEnhance.Brightness(p).enhance(0.7),
    "with less contrast": lambda p: ImageEnhance.Contrast(p).enhance(0.7),
    "without colours": lambda p: p.convert("L").convert("RGB"),
    "5 % off the left": lambda p: trimmed(p, 0.05, 0, 0, 0),
    "5 % off every side": lambda p: trimmed(p, 0.05, 0.05, 0.05, 0.05),
    "8 % off a corner": lambda p: trimmed(p, 0, 0.08, 0.08, 0),
    "in the mirror": lambda p: p.transpose(Image.Transpose.FLIP_LEFT_RIGHT),
    "sent by a messenger": lambda p: Image.open(
        io.BytesIO(saved(trimmed(p, 0.02, 0.03, 0.02, 0).resize((800, 600)), "JPEG", quality=50))
    ),
}


@pytest.mark.parametrize("how", ALTERED)
def test_an_altered_picture_is_near_and_shows_the_same(how):
    original, altered = picture(), ALTERED[how](picture())
    stored_hash, looked = perceptual_hash(original), look_of(altered.convert("RGB"))

    assert min(distance(guess, stored_hash) for guess in looked.hashes) <= RADIUS
    assert show_the_same(looked.sample, look_of(original).sample)


@pytest.mark.parametrize("how", ["5 % off every side", "8 % off a corner", "brighter"])
def test_the_original_is_near_to_an_altered_picture_stored_before(how):
    altered, looked = ALTERED[how](picture()), look_of(picture())

    near = min(distance(guess, perceptual_hash(altered)) for guess in looked.hashes)
    assert near <= RADIUS
    assert show_the_same(looked.sample, look_of(altered).sample)


def test_other_lofts_and_the_same_loft_afterwards_do_not_show_the_same():
    before = look_of(picture(4)).sample
    others = [picture(seed) for seed in (5, 6, 12)]
    after = picture(4, moment="after", depth_mm=280)

    assert not any(show_the_same(look_of(other).sample, before) for other in [*others, after])


@pytest.mark.parametrize(
    ("after", "before"),
    [((33, "P17"), (22, "P12")), ((87, "P14"), (72, "P7")), ((73, "P7"), (90, "P16"))],
)
def test_lofts_whose_light_agrees_and_nothing_else_do_not_show_the_same(after, before):
    """Dark above and pale below, as every loft is: but for the detail they agree by 0.965 and more,
    as they are or in the mirror."""
    one = look_of(picture(after[0], point_label=after[1], moment="after", depth_mm=280)).sample
    other = look_of(picture(before[0], point_label=before[1], depth_mm=120)).sample

    assert max(agreement(each, other, scales=(1.0,)) for each in (one, one[:, ::-1])) > SAME
    assert not show_the_same(one, other) and not show_the_same(other, one)


def test_agreement_of_a_shifted_piece_is_found_at_its_place():
    """The correlation coefficient of numpy itself, for the one place where the pieces lie."""
    rng = np.random.default_rng(3)
    whole = rng.integers(0, 255, (96, 128), dtype=np.uint8)
    piece = whole[5:90, 9:120]

    assert agreement(piece, whole, scales=(1.0,)) == pytest.approx(1.0, abs=1e-6)
    stranger = rng.integers(0, 255, (96, 128), dtype=np.uint8)
    assert agreement(stranger, whole, scales=(1.0,)) < 0.3


def test_light_and_contrast_leave_the_hash_as_it_is():
    """Scaling a picture scales its transform; no sign changes."""
    values = np.asarray(picture().convert("L").resize((128, 96)), dtype=np.float64)
    darker = Image.fromarray((values * 0.5).round().astype(np.uint8))

    same = Image.fromarray(values.astype(np.uint8))
    assert distance(hashes_of(darker)[0], hashes_of(same)[0]) <= 2


def test_the_hash_is_the_sign_of_the_cosine_transform_that_scipy_makes():
    """Reference: scipy.fft.dctn, type II, orthonormal, over the same 32 x 32 samples."""
    from scipy.fft import dctn

    from jobs.evidence.looks import ORDER

    image = picture().convert("L").resize((32, 32))
    spectrum = dctn(np.asarray(image, dtype=np.float64), norm="ortho")
    bits = spectrum[ORDER[:, 0], ORDER[:, 1]] > 0

    expected = int.from_bytes(np.packbits(bits).tobytes(), "big")
    assert distance(hashes_of(image)[0], expected) == 0


def stored_hash(value: int) -> int:
    """The photo id of a row with this hash, signed or not."""
    signed = value & MASK
    photo = PhotoFactory()
    inspection = PhotoInspection.objects.create(
        photo=photo, inspector_version="t", readable=True, perceptual_hash=0
    )
    PhotoHash.objects.create(
        photo=photo,
        job=photo.job,
        inspection=inspection,
        value=signed - (1 << 64) if signed >> 63 else signed,
    )
    return photo.pk


@pytest.mark.django_db
def test_every_hash_up_to_seven_bits_away_is_found_and_none_beyond_ten():
    """However the bits fall into the four bands: seven leave one band with at most one."""
    chance = random.Random(7)
    asked = chance.getrandbits(64) - (1 << 63)
    far_bands = sum(1 << bit for bit in (0, 1, 16, 17, 32, 33, 48))
    flips = [0, 1 << 63, far_bands, (1 << 7) - 1, (1 << 8) - 1, (1 << 11) - 1]
    flips += [sum(1 << bit for bit in chance.sample(range(64), 7)) for _ in range(20)]
    flips += [sum(1 << bit for bit in chance.sample(range(64), 12)) for _ in range(5)]
    expected = {stored_hash(asked ^ flip): flip.bit_count() for flip in flips}

    found = PhotoHash.objects.near([asked], not_of_job=0, most=100)

    sure = {pk for pk, bits in expected.items() if bits <= SURE_RADIUS}
    assert len(sure) == 24
    assert sure <= {near.photo_id for near in found}
    assert [near.distance for near in found] == sorted(near.distance for near in found)
    assert all(near.distance <= RADIUS for near in found)
    assert all(expected[near.photo_id] == near.distance for near in found)


@pytest.mark.django_db
def test_the_nearest_come_first_and_the_own_job_is_left_out():
    own, near, nearer = stored_hash(5), stored_hash(5 ^ 0b11), stored_hash(5 ^ 1)
    job = Photo.objects.get(pk=own).job_id

    found = PhotoHash.objects.near([5, 99], not_of_job=job, most=1)

    assert [(one.photo_id, one.distance) for one in found] == [(nearer, 1)]
    assert len(PhotoHash.objects.near([5], not_of_job=job, most=9)) == 2
    assert near


@pytest.mark.django_db
def test_the_search_reads_the_four_indexes_and_not_the_table():
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_bitmapscan = off")
        cursor.execute(f"EXPLAIN {NEAR}", [[1], [1], RADIUS] * 4 + [0, 9])
        plan = "\n".join(row[0] for row in cursor.fetchall())

    for band in range(4):
        assert f"Index Only Scan using photo_hash_{band}" in plan


def inspected(scene: Scene, content: bytes, **fields: object) -> PhotoInspection:
    return inspect(Photo.objects.get(pk=stored(scene, content, **fields).pk))


@pytest.mark.django_db
@pytest.mark.parametrize("how", ["sent by a messenger", "5 % off every side", "in the mirror"])
def test_an_altered_photo_of_another_job_is_doubted(how):
    first = inspected(scene_on_site(), loft_jpeg(6))

    copy = inspected(scene_on_site(), saved(ALTERED[how](picture(6)), "JPEG", quality=80))

    likeness = [w for w in copy.warnings if w["code"] == "like_other_job"]
    assert [w["photo"] for w in likeness] == [first.photo_id]
    assert Photo.objects.filter(pk=copy.photo_id).exists()


@pytest.mark.django_db
def test_a_cropped_before_picture_sent_as_after_is_doubted():
    scene = scene_on_site()
    before = inspected(scene, loft_jpeg(5))
    again = saved(trimmed(picture(5), 0.06, 0.02, 0, 0.05), "JPEG", quality=70)

    after = inspected(scene, again, moment="after")

    likeness = [w for w in after.warnings if w["code"] == "like_other_moment"]
    assert [w["photo"] for w in likeness] == [before.photo_id]


@pytest.mark.django_db
def test_a_new_inspector_keeps_one_hash_a_photo(monkeypatch):
    first = inspected(scene_on_site(), loft_jpeg(6))
    monkeypatch.setattr("jobs.evidence.inspection.INSPECTOR_VERSION", "next")

    again = inspect(Photo.objects.get(pk=first.photo_id))

    assert again.pk != first.pk
    assert PhotoHash.objects.get(photo_id=first.photo_id).inspection_id == again.pk
