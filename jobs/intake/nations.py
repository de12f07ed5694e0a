"""Which nation a home can be in, by its postcode area.

Sources. The areas and what they are called: the list of postcode areas of the United
Kingdom (encyclopaedia page, read). That an area lies on both sides of a border:

- CH, HR, LD, LL, NP, SY (England and Wales) and DG, TD (England and Scotland): the outward
  codes that the public register of energy certificates treats as cross-border (read in its
  open source: CH1 CH4, HR2 HR3 HR5, LD7 LD8, LL11-LL14 LL20, NP7 NP16 NP25, SY5 SY10 SY15
  SY21; DG16, TD9 TD12 TD15);
- CA (England and Scotland): CA6 5HS lies in Scotland and CA6 5HT in England by the national
  postcode directory (read as a test case of an open-source library built from it);
- NE (England and Scotland): from memory, unconfirmed; the encyclopaedia's page of the area
  names English places only. Accepting either is the milder mistake.

The nation of every other area is from memory and agrees with those sources where they speak.
A border runs between houses, so an area on one decides nothing: a person confirms.
"""

from __future__ import annotations

from jobs.errors import Refused
from jobs.intake.postcodes import area_of
from jobs.models import Nation

ENGLAND, WALES = Nation.ENGLAND, Nation.WALES
SCOTLAND, NORTHERN_IRELAND = Nation.SCOTLAND, Nation.NORTHERN_IRELAND

ENGLISH_AREAS = (
    "AL B BA BB BD BH BL BN BR BS CB CM CO CR CT CV CW DA DE DH DL DN DT DY E EC EN EX FY GL "
    "GU HA HD HG HP HU HX IG IP KT L LA LE LN LS LU M ME MK N NG NN NR NW OL OX PE PL PO PR "
    "RG RH RM S SE SG SK SL SM SN SO SP SR SS ST SW TA TF TN TQ TR TS TW UB W WA WC WD WF WN "
    "WR WS WV YO"
)
SCOTTISH_AREAS = "AB DD EH FK G HS IV KA KW KY ML PA PH ZE"

AREA_NATIONS: dict[str, frozenset[Nation]] = {
    **{area: frozenset({ENGLAND}) for area in ENGLISH_AREAS.split()},
    **{area: frozenset({SCOTLAND}) for area in SCOTTISH_AREAS.split()},
    **{area: frozenset({WALES}) for area in ("CF", "SA")},
    "BT": frozenset({NORTHERN_IRELAND}),
    **{area: frozenset({ENGLAND, WALES}) for area in ("CH", "HR", "LD", "LL", "NP", "SY")},
    **{area: frozenset({ENGLAND, SCOTLAND}) for area in ("CA", "DG", "NE", "TD")},
}
CROWN_DEPENDENCIES = {"GY": "Guernsey", "IM": "the Isle of Man", "JE": "Jersey"}
WITHOUT_HOMES = {"BF": "forces’ mail", "BX": "mail to large organisations", "GIR": "a bank"}


def nations_of(postcode: str) -> frozenset[Nation]:
    """The nations a home with this postcode can be in.

    Raises:
        Refused: no area of the United Kingdom's four nations begins so (field `postcode`).
    """
    area = area_of(postcode)
    if area in AREA_NATIONS:
        return AREA_NATIONS[area]
    if area in CROWN_DEPENDENCIES:
        reason = f"{area} is {CROWN_DEPENDENCIES[area]}, where none of the depth rules holds."
    elif area in WITHOUT_HOMES:
        reason = f"{area} is used for {WITHOUT_HOMES[area]}, not for homes."
    else:
        reason = f"There is no postcode area {area}."
    raise Refused(reason, field="postcode", remedy="Check the first letters of the postcode.")


def straddles_border(postcode: str) -> bool:
    """True where homes of the postcode's area lie in two nations, so that a person confirms."""
    return len(AREA_NATIONS.get(area_of(postcode), ())) > 1


def in_words(nations: frozenset[Nation]) -> str:
    return " or ".join(sorted(nation.label for nation in nations))


def check_nation(postcode: str, nation: str, *, confirmed: bool) -> None:
    """Refuse a nation that cannot be right, and one near a border that nobody confirmed.

    Raises:
        Refused: field `nation` (cannot be right), `nation_confirmed` (near a border) or
            `postcode` (no such area).
    """
    possible = nations_of(postcode)
    area = area_of(postcode)
    if nation not in possible:
        raise Refused(
            f"A home in postcode area {area} is in {in_words(possible)}, "
            f"not in {Nation(nation).label}.",
            field="nation",
            remedy=f"Choose {in_words(possible)}, or correct the postcode.",
        )
    if len(possible) > 1 and not confirmed:
        raise Refused(
            f"Postcode area {area} lies on both sides of a border ({in_words(possible)}).",
            field="nation_confirmed",
            remedy=f"Check that this home is in {Nation(nation).label}, then confirm it (yes).",
        )
