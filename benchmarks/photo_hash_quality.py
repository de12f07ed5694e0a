"""How often near pictures are found, and others taken for near: false negatives and positives.

    python -m benchmarks.photo_hash_quality [lofts, or a folder of photographs]

Drawn photos of lofts, altered as pictures are on their way (compression, size, light, crops of a
random share of each side); each altered one is looked for among all originals, and the other way
round. As strangers serve all pairs of different lofts, and each loft before against after. Also
how often sharp and light pictures are called blurred or dark, by how much they are. Of a folder of
true photographs, each of another thing, the same is told but for what needs a loft drawn twice.
"""

from __future__ import annotations

import io
import random
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import django
import numpy as np
from PIL import Image, ImageEnhance, ImageFilter

django.setup()

from deploy.demo.pictures import Snapshot, draw_loft_photo  # noqa: E402
from jobs.evidence.alignment import show_the_same  # noqa: E402
from jobs.evidence.likeness import SAME_JOB_BITS, nearest  # noqa: E402
from jobs.evidence.looks import Look, distance, look_of  # noqa: E402
from jobs.models.photo_hashes import RADIUS, SURE_RADIUS  # noqa: E402

Alter = Callable[[Image.Image, random.Random], Image.Image]


def drawn(seed: int, **shows: object) -> Image.Image:
    shown = {"depth_mm": 80.0, "point_label": "P1", **shows}
    jpeg = draw_loft_photo(Snapshot(seed, **shown))  # type: ignore[arg-type]
    return Image.open(io.BytesIO(jpeg)).convert("RGB")


def recoded(picture: Image.Image, kind: str, quality: int) -> Image.Image:
    file = io.BytesIO()
    picture.save(file, kind, quality=quality)
    return Image.open(file).convert("RGB")


def cropped(picture: Image.Image, chance: random.Random, most: float) -> Image.Image:
    width, height = picture.size
    left, top, right, bottom = (chance.uniform(0, most) for _ in range(4))
    box = (left * width, top * height, (1 - right) * width, (1 - bottom) * height)
    return picture.crop(tuple(map(round, box)))  # type: ignore[arg-type]


def scaled(picture: Image.Image, by: float) -> Image.Image:
    return picture.resize((round(picture.width * by), round(picture.height * by)))


ALTERED: dict[str, Alter] = {
    "JPEG, quality 25 to 60": lambda p, c: recoded(p, "JPEG", c.randint(25, 60)),
    "WebP, quality 40": lambda p, c: recoded(p, "WEBP", 40),
    "half the size": lambda p, c: recoded(scaled(p, 0.5), "JPEG", 50),
    "light 65 to 135 %": lambda p, c: ImageEnhance.Brightness(p).enhance(c.uniform(0.65, 1.35)),
    "cropped up to 3 % a side": lambda p, c: cropped(p, c, 0.03),
    "cropped up to 5 % a side": lambda p, c: cropped(p, c, 0.05),
    "cropped up to 8 % a side": lambda p, c: cropped(p, c, 0.08),
    "crop 8 %, light, half size, JPEG": lambda p, c: recoded(
        scaled(ImageEnhance.Brightness(cropped(p, c, 0.08)).enhance(c.uniform(0.75, 1.25)), 0.55),
        "JPEG",
        50,
    ),
    "in the mirror": lambda p, c: p.transpose(Image.Transpose.FLIP_LEFT_RIGHT),
}  # fmt: skip


def found(asked: Look, stored: Look) -> tuple[bool, bool]:
    """Whether a search finds the pair for certain, and whether it finds it and confirms it."""
    differ = [(guess ^ stored.hashes[0]) & (1 << 64) - 1 for guess in asked.hashes]
    sure = any(bits.bit_count() <= SURE_RADIUS for bits in differ)
    there = any(bits.bit_count() <= RADIUS and shows_up(bits) for bits in differ)
    return sure, there and same(asked, stored)


def shows_up(differ: int) -> bool:
    """Whether the index leads to a hash that differs in these bits: by one band or another."""
    return any((differ >> shift & 0xFFFF).bit_count() <= 1 for shift in range(0, 64, 16))


def same(asked: Look, stored: Look) -> bool:
    return show_the_same(asked.sample, stored.sample)


def share(rows: Sequence[bool]) -> str:
    return f"{100 * sum(rows) / len(rows):6.1f} %"


def quality(originals: Sequence[Image.Image], looks: Sequence[Look]) -> None:
    print(
        f"{'altered':34} {'<= 3 bits':>9} {'sure':>9} {'found':>9} {'missed':>9}  other way round"
    )
    for name, alter in ALTERED.items():
        chance = random.Random(name)
        altered = [look_of(alter(picture, chance)) for picture in originals]
        pairs = list(zip(altered, looks, strict=True))
        plain = [distance(a.hashes[0], b.hashes[0]) <= 3 for a, b in pairs]
        there = [found(a, b) for a, b in pairs]
        back = [found(b, a)[1] for a, b in pairs]
        sure = [is_sure for is_sure, _ in there]
        hit = [is_found for _, is_found in there]
        missed = [not is_found for is_found in hit]
        print(
            f"{name:34} {share(plain)} {share(sure)} {share(hit)} {share(missed)}  {share(back)}",
            flush=True,
        )


def strangers(looks: Sequence[Look], after: Sequence[Look]) -> None:
    pairs = [(a, b) for i, a in enumerate(looks) for b in looks[:i]]
    values = np.array([nearest(a, b.hashes[0]) for a, b in pairs])
    near = [pair for pair, bits in zip(pairs, values, strict=True) if bits <= RADIUS]
    wrong = [same(a, b) for a, b in near]
    print(
        f"\n{len(pairs)} pairs of different lofts: the nearest hashes differ by "
        f"{np.median(values):.0f} bits in the median; {len(near)} pairs within {RADIUS} bits, of "
        f"which the closer look takes {sum(wrong)} for the same: "
        f"{100 * sum(wrong) / len(pairs):.4f} % false positives"
    )
    if not after:
        return
    both = list(zip(after, looks, strict=False))
    near_bits = [nearest(a, b.hashes[0]) <= SAME_JOB_BITS for a, b in both]
    alike = [close and same(a, b) for close, (a, b) in zip(near_bits, both, strict=True)]
    print(
        f"{len(both)} lofts before and after the work, from nearly the same place: "
        f"{sum(near_bits)} within {SAME_JOB_BITS} bits, {sum(alike)} taken for the same picture"
    )


def of_one_job(looks: Sequence[Look], after: Sequence[Look]) -> None:
    """Within a job more is looked at closely: every after photo against other places' before."""
    pairs = [(a, b) for i, a in enumerate(after) for j, b in enumerate(looks) if i != j]
    near = [(a, b) for a, b in pairs if nearest(a, b.hashes[0]) <= SAME_JOB_BITS]
    wrong = [same(a, b) for a, b in near]
    print(
        f"{len(pairs)} pairs of one place after the work and another before it: {len(near)} within "
        f"{SAME_JOB_BITS} bits, of which the closer look takes {sum(wrong)} for the same: "
        f"{100 * sum(wrong) / len(pairs):.4f} % false positives"
    )


def light_and_sharpness(originals: Sequence[Image.Image]) -> None:
    print("\nblurred (Gaussian, standard deviation in pixels of 1200): share called blurred")
    for radius in (0, 0.5, 1, 1.5, 2, 3, 4, 6, 9):
        looks = [look_of(p.filter(ImageFilter.GaussianBlur(radius))) for p in originals]
        print(f"  {radius:4} {share([look.is_blurred for look in looks])}")
    print("light, as a share of the picture's own: share called too dark")
    for light in (1, 0.5, 0.3, 0.2, 0.15, 0.1, 0.07, 0.05):
        looks = [look_of(ImageEnhance.Brightness(p).enhance(light)) for p in originals]
        print(f"  {light:4} {share([look.is_too_dark for look in looks])}")


def photographed(folder: Path) -> list[Image.Image]:
    """The photographs of a folder, as large as a drawn one."""
    pictures = []
    for file in sorted(folder.iterdir()):
        picture = Image.open(file).convert("RGB")
        picture.thumbnail((1200, 1200))
        pictures.append(picture)
    return pictures


def main() -> None:
    asked = sys.argv[1] if len(sys.argv) > 1 else "200"
    is_folder = not asked.isdigit()
    originals = photographed(Path(asked)) if is_folder else [drawn(s) for s in range(int(asked))]
    looks = [look_of(picture) for picture in originals]
    count, what = len(originals), "photographs" if is_folder else "drawn lofts"
    print(f"{count} {what}; a search finds for certain what is {SURE_RADIUS} bits away\n")
    quality(originals, looks)
    after = [] if is_folder else [look_of(drawn_after(s)) for s in range(min(count, 100))]
    strangers(looks, after)
    if after:
        of_one_job(looks, after)
    light_and_sharpness(originals[:60])


def drawn_after(seed: int) -> Image.Image:
    return drawn(seed, moment="after", depth_mm=280.0)


if __name__ == "__main__":
    main()
