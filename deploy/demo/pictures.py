"""Invented photos of a loft: drawn scenes with the EXIF of a phone. Same seed, same bytes.

They say in the picture itself that they are invented.
"""

from __future__ import annotations

import io
import random
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np
from PIL import Image, ImageChops, ImageDraw, ImageFont
from PIL.TiffImagePlugin import IFDRational

WIDTH, HEIGHT = 1200, 900
CAPTION = "invented demo picture"

Colour = tuple[int, int, int]
Spot = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What a drawn photo shows and what its EXIF says.

    depth_mm: depth of wool beside the gauge [mm]; before the work usually less than a joist.
    joist_spacing_mm: centres of the joists in the picture [mm]. taken_at: with time zone, or
    None for no time. latitude_deg, longitude_deg: position, or None for none.
    """

    seed: int
    depth_mm: float
    moment: str = "before"
    point_label: str = ""
    joist_spacing_mm: float = 400
    taken_at: datetime | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    device: str = "Invented Phone 1"
    orientation: int = 1


def draw_loft_photo(snapshot: Snapshot, quality: int = 78, width_px: int = WIDTH) -> bytes:
    """A JPEG, 1200 x 900 pixels unless `width_px` asks for less, with the snapshot's EXIF."""
    picture = _Scene(snapshot).draw()
    if width_px != WIDTH:
        size = (width_px, round(HEIGHT * width_px / WIDTH))
        picture = picture.resize(size, Image.Resampling.BOX)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality, exif=exif_of(snapshot))
    return file.getvalue()


class _Scene:
    """A look from the hatch along the joists towards the far gable.

    What the loft is like comes from the seed and the photo point, where the phone was held
    and how the light fell also from the moment: before and after show the same loft.
    """

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        loft = random.Random(f"{snapshot.seed} {snapshot.point_label}")
        hand = random.Random(f"{snapshot.seed} {snapshot.point_label} {snapshot.moment}")
        self.hand = hand
        self.horizon = loft.uniform(0.30, 0.52) * HEIGHT + hand.uniform(-40, 40)
        self.vanish = loft.uniform(0.15, 0.85) * WIDTH + hand.uniform(-70, 70)
        self.floor_far = self.horizon + loft.uniform(50, 130)
        self.mm = loft.uniform(0.42, 0.62)  # pixels per millimetre at the near edge
        self.thing = loft.choice(("tank", "chimney", "boards", "nothing"))
        self.thing_x = self.vanish + loft.choice((-1, 1)) * loft.uniform(150, 420)
        self.thing_y = self.floor_far + loft.uniform(20, 140)
        self.thing_size = loft.uniform(130, 250)
        self.chance = loft
        self.image = Image.new("RGB", (WIDTH, HEIGHT), self._tint((70, 60, 52)))
        self.pen = ImageDraw.Draw(self.image)

    def draw(self) -> Image.Image:
        self._roof()
        self._gable()
        self._floor()
        self._clutter()
        self._gauge()
        self._light()
        self._words()
        return self.image

    def _tint(self, colour: Colour) -> Colour:
        warm = self.chance.uniform(0.8, 1.15)
        red, green, blue = colour
        return (min(255, int(red * warm)), min(255, int(green * warm)), min(255, int(blue * warm)))

    def _roof(self) -> None:
        """Rafters running from the eaves on both sides up to the ridge."""
        ridge = (self.vanish, self.horizon - self.chance.uniform(120, 260))
        for side in (-1, 1):
            for i in range(9):
                spread = side * (110 + i * self.chance.uniform(95, 150))
                foot = (self.vanish + spread * 1.5, self.floor_far + i * 34)
                head = (ridge[0] + spread * 0.25, ridge[1] - i * 48)
                self.pen.line([foot, head], fill=self._tint((104, 78, 52)), width=9 + 3 * i)

    def _gable(self) -> None:
        half = self.chance.uniform(140, 300)
        top = self.horizon - self.chance.uniform(90, 210)
        brick = self._tint((122, 84, 68))
        corners = [
            (self.vanish - half, self.floor_far),
            (self.vanish, top),
            (self.vanish + half, self.floor_far),
        ]
        self.pen.polygon(corners, fill=brick)
        for y in range(int(top) + 12, int(self.floor_far), 14):
            reach = half * (y - top) / (self.floor_far - top)
            self.pen.line([(self.vanish - reach, y), (self.vanish + reach, y)], fill=(98, 70, 58))
        if self.chance.random() < 0.4:
            left, sill = self.vanish + self.chance.uniform(-60, 30), self.floor_far - 70
            self.pen.rectangle([left, sill, left + 46, sill + 40], fill=(222, 232, 236))

    def _near_x(self, lane: float) -> float:
        return self.vanish + lane * self.snapshot.joist_spacing_mm * self.mm

    def _along(self, near_x: float, share: float) -> Spot:
        """The spot `share` of the way from the near edge (0) to the far wall (1)."""
        far_x = self.vanish + (near_x - self.vanish) * 0.22
        return near_x + (far_x - near_x) * share, HEIGHT + (self.floor_far - HEIGHT) * share

    def _floor(self) -> None:
        after = self.snapshot.moment == "after"
        wool = self._tint((198, 172, 96) if after else (168, 150, 118))
        self.pen.polygon(
            [(0, HEIGHT), (0, self.floor_far + 110), (self.vanish - 320, self.floor_far),
             (self.vanish + 320, self.floor_far), (WIDTH, self.floor_far + 110), (WIDTH, HEIGHT)],
            fill=wool,
        )  # fmt: skip
        if after and self.snapshot.depth_mm > 120:
            self._across_layers(wool)
        else:
            self._joists()

    def _joists(self) -> None:
        width = 47 * self.mm
        timber, shade = self._tint((150, 112, 70)), self._tint((84, 66, 48))
        sunk = max(0.0, 100 - self.snapshot.depth_mm) * self.mm * 0.5
        start = 0.3
        for i in range(-9, 10):
            near = self._near_x(i + start)
            left, right = near - width / 2, near + width / 2
            far_l, far_r = self._along(left, 1), self._along(right, 1)
            self.pen.polygon([(right, HEIGHT), far_r, (far_r[0] + sunk * 0.2, far_r[1]),
                              (right + sunk, HEIGHT)], fill=shade)  # fmt: skip
            self.pen.polygon([(left, HEIGHT), far_l, far_r, (right, HEIGHT)], fill=timber)

    def _across_layers(self, wool: Colour) -> None:
        """Strips laid across the joists, one beside the other."""
        share = self.hand.uniform(0.02, 0.2)
        dark = (int(wool[0] * 0.72), int(wool[1] * 0.72), int(wool[2] * 0.72))
        while share < 1:
            _, y = self._along(0, share)
            lean = self.hand.uniform(-16, 16)
            self.pen.line([(0, y - lean), (WIDTH, y + lean)], fill=dark, width=int(9 - 7 * share))
            share += self.hand.uniform(0.13, 0.24) * (1.1 - share)

    def _clutter(self) -> None:
        """A tank, a chimney breast or boards, so that no two lofts look the same."""
        x, y, size = self.thing_x, self.thing_y, self.thing_size
        if self.thing == "tank":
            self.pen.rectangle([x, y - size * 0.7, x + size, y], fill=self._tint((52, 58, 62)))
            self.pen.rectangle([x - 8, y - size * 0.75, x + size + 8, y - size * 0.64],
                               fill=self._tint((80, 86, 90)))  # fmt: skip
        elif self.thing == "chimney":
            self.pen.rectangle([x, 0, x + size, y], fill=self._tint((136, 92, 74)))
        elif self.thing == "boards":
            for i in range(3):
                a, b = (x + i * 64, HEIGHT), self._along(x + i * 64, 0.8)
                self.pen.polygon([a, b, (b[0] + 20, b[1]), (a[0] + 56, HEIGHT)],
                                 fill=self._tint((176, 142, 98)))  # fmt: skip

    def _gauge(self) -> None:
        """A depth gauge standing in the wool, its figure at the wool's upper face."""
        x = self.hand.uniform(0.25, 0.7) * WIDTH
        foot = HEIGHT - self.hand.uniform(110, 190)
        scale = 0.9
        top = foot - 420 * scale
        self.pen.rectangle([x, top, x + 62, foot], fill=(238, 238, 230), outline=(40, 40, 40))
        for mm in range(0, 401, 10):
            y = foot - mm * scale
            long = 30 if mm % 50 == 0 else 14
            self.pen.line([(x, y), (x + long, y)], fill=(20, 20, 20), width=2)
        level = foot - min(400.0, self.snapshot.depth_mm) * scale
        wool = self._tint((206, 182, 110))
        self.pen.polygon([(x - 90, foot + 26), (x - 60, level + 12), (x - 4, level),
                          (x - 4, foot + 30)], fill=wool)  # fmt: skip
        self.pen.rectangle([x - 40, level, x + 62, level + 3], fill=(196, 40, 30))
        self.pen.text((x + 72, level - 24), f"{self.snapshot.depth_mm:.0f} mm",
                      fill=(255, 255, 255), font=_font(44), stroke_width=3,
                      stroke_fill=(0, 0, 0))  # fmt: skip

    def _light(self) -> None:
        """The grain of wool and timber, and a lamp somewhere in the loft."""
        left, top = self.hand.randrange(WIDTH), self.hand.randrange(HEIGHT)
        grain = _grain().crop((left // 2, top // 2, left // 2 + WIDTH, top // 2 + HEIGHT))
        lamp = _lamp().crop((left, top, left + WIDTH, top + HEIGHT))
        shade = ImageChops.multiply(grain, lamp)
        if self.hand.random() < 0.5:
            shade = shade.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
        self.image = ImageChops.multiply(self.image, Image.merge("RGB", (shade, shade, shade)))
        self.pen = ImageDraw.Draw(self.image)

    def _words(self) -> None:
        label = f"{self.snapshot.point_label} {self.snapshot.moment}".strip()
        self.pen.rectangle([0, HEIGHT - 44, WIDTH, HEIGHT], fill=(16, 16, 16))
        self.pen.text((20, HEIGHT - 38), f"{CAPTION} · {label} · {self.snapshot.seed}",
                      fill=(240, 240, 240), font=_font(26))  # fmt: skip


@lru_cache(maxsize=4)
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


@lru_cache(maxsize=1)
def _grain() -> Image.Image:
    """Fibrous texture, half as large again as a picture so that each takes another piece."""
    rng = np.random.default_rng(1702)
    coarse = Image.fromarray(rng.integers(205, 256, (170, 230), dtype=np.uint8))
    fine = rng.integers(224, 256, (HEIGHT * 2, WIDTH * 2), dtype=np.uint8)
    cloud = coarse.resize((WIDTH * 2, HEIGHT * 2), Image.Resampling.BILINEAR)
    return ImageChops.multiply(Image.fromarray(fine), cloud)


@lru_cache(maxsize=1)
def _lamp() -> Image.Image:
    """A pool of light in the middle of twice a picture's size."""
    glow = ImageChops.invert(Image.radial_gradient("L"))
    lifted = glow.point([min(255, 96 + int(level * 0.9)) for level in range(256)])
    return lifted.resize((WIDTH * 2, HEIGHT * 2), Image.Resampling.BILINEAR)


def exif_of(snapshot: Snapshot) -> Image.Exif:
    """The EXIF block a phone would write (CIPA DC-008 tag numbers)."""
    exif = Image.Exif()
    exif[0x010F] = "Invented"
    exif[0x0110] = snapshot.device
    exif[0x0112] = snapshot.orientation
    if snapshot.taken_at is not None:
        written = snapshot.taken_at.strftime("%Y:%m:%d %H:%M:%S")
        offset = snapshot.taken_at.strftime("%z")
        exif[0x0132] = written
        details = exif.get_ifd(0x8769)
        details[0x9003] = written
        if offset:
            details[0x9011] = f"{offset[:3]}:{offset[3:5]}"
    if snapshot.latitude_deg is not None and snapshot.longitude_deg is not None:
        place = exif.get_ifd(0x8825)
        place[1] = "N" if snapshot.latitude_deg >= 0 else "S"
        place[2] = _degrees(abs(snapshot.latitude_deg))
        place[3] = "E" if snapshot.longitude_deg >= 0 else "W"
        place[4] = _degrees(abs(snapshot.longitude_deg))
    return exif


def _degrees(value: float) -> tuple[IFDRational, IFDRational, IFDRational]:
    """Degrees, minutes and hundredths of seconds, as EXIF keeps a position."""
    hundredths = round(value * 360_000)
    minutes, rest = divmod(hundredths, 6_000)
    degrees, minutes = divmod(minutes, 60)
    return IFDRational(degrees, 1), IFDRational(minutes, 1), IFDRational(rest, 100)
