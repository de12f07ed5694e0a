"""Invented homes: streets and towns that do not exist, in postcode areas that do.

Centres of postcode areas are from memory, good to some kilometres; phone numbers are from the
range that Ofcom keeps free for drama (01632 960000 to 960999).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

SPREAD_DEG = 0.06

# postcode area, nation, whether it straddles a border, latitude, longitude, share of homes
AREAS: tuple[tuple[str, str, bool, float, float, int], ...] = (
    ("LE", "england", False, 52.63, -1.13, 24),
    ("NG", "england", False, 52.95, -1.15, 14),
    ("TF", "england", False, 52.69, -2.46, 14),
    ("SY", "england", True, 52.71, -2.75, 9),
    ("SY", "wales", True, 52.62, -3.12, 5),
    ("LL", "wales", True, 53.03, -3.00, 8),
    ("EH", "scotland", False, 55.93, -3.20, 14),
    ("KY", "scotland", False, 56.11, -3.20, 8),
    ("TD", "scotland", True, 55.63, -2.85, 4),
)
CREW_OF_AREA = {
    **dict.fromkeys(("LE", "NG"), "Crew Wren"),
    **dict.fromkeys(("TF", "SY", "LL"), "Crew Heron"),
    **dict.fromkeys(("EH", "KY", "TD"), "Crew Linnet"),
}
TOWNS = {
    "LE": ("Netherby Cross", "Oakham Fold", "Saltwick Magna"),
    "NG": ("Thornley Vale", "Aslockby", "Burr Green"),
    "TF": ("Cromley Dale", "Hopwell Mills", "Wirkton"),
    "SY": ("Llanfach", "Pontmarsh", "Ellerton Heath"),
    "LL": ("Pen-y-cwrt", "Aberfach", "Trewern Bay"),
    "EH": ("Kirkmuir", "Balwhinnie", "Penlaw"),
    "KY": ("Inverdour", "Kilrenwick", "Strathmiln"),
    "TD": ("Hawkshaw", "Kelburn Water", "Ettrick Foot"),
}
STREETS = (
    "Sandpiper Row", "Old Kiln Lane", "Hazel Terrace", "Quarry Bank", "Mill Leat", "Fern Close",
    "Chapel Rise", "Lapwing Drive", "Station Cottages", "Bramble Walk", "Weir View", "Tinker's Way",
    "Cooper's Yard", "High Meadow", "Rook Hill", "Alder Street",
)  # fmt: skip
FIRST = (
    "Alma", "Bram", "Cerys", "Dougal", "Edith", "Fionn", "Greta", "Harun", "Ines", "Jonah", "Keira",
    "Lionel", "Mina", "Nevin", "Olwen", "Priya", "Rhona", "Selim", "Tegan", "Walt",
)  # fmt: skip
LAST = (
    "Ashdown", "Bellweather", "Carrow", "Dunmore", "Easterby", "Farrow", "Gorse", "Hollin",
    "Inskip", "Jessop", "Kettlewell", "Larch", "Marlow", "Nettle", "Osier", "Pell", "Quill",
    "Rushby", "Sorrel", "Teasdale",
)  # fmt: skip
ACCESS = (
    "Key with the neighbour at number 2.",
    "Dog in the kitchen: ring first.",
    "Hatch above the stairs, bring the long ladder.",
    "Parking on the opposite side only.",
    "Night worker: not before nine.",
)


@dataclass(frozen=True, slots=True)
class Home:
    """An invented home, by the column names of a property."""

    address_line_1: str
    town: str
    postcode: str
    nation: str
    nation_confirmed: bool
    latitude_deg: float
    longitude_deg: float
    householder_name: str
    householder_phone: str
    access_notes: str

    @property
    def crew(self) -> str:
        """The crew that works in its postcode area."""
        return CREW_OF_AREA[self.postcode[:2]]


def invent_home(chance: random.Random, number: int) -> Home:
    area, nation, straddles, latitude, longitude, _ = chance.choices(
        AREAS, weights=[row[-1] for row in AREAS]
    )[0]
    inward = f"{chance.randrange(1, 10)}{chance.choice('ABDEFGHJLN')}{chance.choice('PQRSTUWXYZ')}"
    return Home(
        address_line_1=f"{chance.randrange(1, 120)} {chance.choice(STREETS)}",
        town=chance.choice(TOWNS[area]),
        postcode=f"{area}{chance.randrange(1, 10)} {inward}",
        nation=nation,
        nation_confirmed=straddles and chance.random() < 0.85,
        latitude_deg=round(latitude + chance.gauss(0, SPREAD_DEG), 5),
        longitude_deg=round(longitude + chance.gauss(0, SPREAD_DEG * 1.6), 5),
        householder_name=f"{chance.choice(FIRST)} {chance.choice(LAST)}",
        householder_phone=f"01632 960{number % 1000:03d}",
        access_notes=chance.choice(ACCESS) if chance.random() < 0.3 else "",
    )
