"""The gauge in a photo is found where it was drawn, and nothing is found where there is none."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageDraw

from jobs.evidence.gauges import crop_box, find_gauge, gauge_crop

SIZE = (1000, 750)
LEFT, TOP, WIDE, HIGH = 620, 180, 60, 400


def loft(with_gauge: bool = True, seed: int = 4) -> Image.Image:
    """Wool, joists and a caption, with a gauge marked at every 9 pixels if asked."""
    rng = np.random.default_rng(seed)
    grain = rng.normal(150, 18, (SIZE[1], SIZE[0]))
    image = Image.fromarray(grain.clip(0, 255).astype(np.uint8)).convert("RGB")
    pen = ImageDraw.Draw(image)
    for x in range(40, SIZE[0], 190):
        pen.line([(x, SIZE[1]), (500, 60)], fill=(120, 80, 50), width=22)
    for y in range(70, 170, 14):
        pen.line([(300, y), (720, y)], fill=(118, 106, 96), width=2)
    pen.text((20, 720), "P2 after, taken in the loft on a Monday", fill="white")
    if with_gauge:
        pen.rectangle([LEFT, TOP, LEFT + WIDE, TOP + HIGH], fill=(236, 234, 226))
        for i, y in enumerate(range(TOP, TOP + HIGH, 9)):
            pen.line([(LEFT, y), (LEFT + (30 if i % 5 else 50), y)], fill=(30, 30, 30), width=2)
    return image


def grey(image: Image.Image) -> np.ndarray:
    return np.asarray(image.convert("L"), dtype=np.float32)


@pytest.mark.parametrize("turned", [0, 5, -8])
def test_the_gauge_is_found_and_the_crop_holds_it(turned):
    image = loft().rotate(turned, Image.Resampling.BICUBIC, center=(LEFT + 30, TOP + 200))

    found = find_gauge(grey(image))
    left, top, right, bottom = crop_box(found, *SIZE)

    assert found.upright
    assert left < LEFT < LEFT + WIDE < right
    assert top < TOP + 90 and bottom > TOP + HIGH - 90
    assert (right - left) / (bottom - top) == pytest.approx(0.75, abs=0.01)


def test_a_gauge_lying_down_is_found_along_its_length():
    image = loft().transpose(Image.Transpose.ROTATE_90)

    found = find_gauge(grey(image))

    assert not found.upright and (found.right - found.left) > 3 * (found.bottom - found.top)


def test_joists_letters_and_bricks_are_no_gauge():
    assert find_gauge(grey(loft(with_gauge=False))) is None
    assert gauge_crop(loft(with_gauge=False)) is None


def test_the_crop_is_a_picture_without_metadata():
    crop = Image.open(io.BytesIO(gauge_crop(loft())))

    assert crop.format == "JPEG" and not crop.getexif()
