"""The form of a postcode and its nation against published examples."""

from __future__ import annotations

import pytest

from jobs.errors import Refused
from jobs.intake.nations import AREA_NATIONS, nations_of
from jobs.intake.postcodes import normalise_postcode
from jobs.models import Nation

# One for each of the six patterns of BS 7666: the examples that the postal operator's guide and
# the government's data standards print; rendered from memory, unconfirmed.
BS_7666_EXAMPLES = ("M1 1AE", "B33 8TH", "CR2 6XH", "DN55 1PT", "W1A 1HQ", "EC1A 1BB")


@pytest.mark.parametrize("postcode", BS_7666_EXAMPLES)
def test_each_pattern_of_bs_7666_is_taken(postcode):
    """BS 7666, the six patterns A9, A99, AA9, AA99, A9A, AA9A (examples from memory)."""
    assert normalise_postcode(postcode.replace(" ", "").lower()) == postcode


@pytest.mark.parametrize(
    ("postcode", "reason"),
    [
        ("Q1 1AA", "Q, V and X are not used in the first place"),
        ("LI1 1AA", "I, J and Z are not used in the second place"),
        ("M1L 1AA", "the third place of A9A holds A to H, J, K, P, S to U or W"),
        ("EC1C 1BB", "the fourth place of AA9A holds A, B, E, H, M, N, P, R, V to Y"),
        ("M1 1CE", "C, I, K, M, O and V are not used in the inward code"),
        ("M1 AAE", "the inward code starts with a digit"),
        ("LE1 1A", "the inward code has two letters"),
    ],
)
def test_letters_that_bs_7666_keeps_out_are_refused(postcode, reason):
    """BS 7666, the letters of each place (from memory)."""
    with pytest.raises(Refused, match="not of the form"):
        normalise_postcode(postcode)


def test_there_are_as_many_areas_as_published():
    """Encyclopaedia, list of postcode areas in the United Kingdom (read): 121 geographic areas."""
    assert len(AREA_NATIONS) == 121


@pytest.mark.parametrize(
    ("postcode", "nation"),
    [
        ("CH1 1AA", "wales"),
        ("CH4 1AA", "england"),
        ("HR3 5AA", "wales"),
        ("LD7 1AA", "england"),
        ("LL14 1AA", "england"),
        ("NP16 1AA", "england"),
        ("SY10 1AA", "wales"),
        ("DG16 5AA", "england"),
        ("TD15 1AA", "scotland"),
        ("CA6 5HS", "scotland"),
        ("CA6 5HT", "england"),
    ],
)
def test_both_nations_are_possible_where_a_published_source_has_both(postcode, nation):
    """Cross-border outward codes of the public register of energy certificates (read in its
    open source): CH1, CH4, HR3, LD7, LL14, NP16, SY10 lie in England and Wales, DG16 and TD15 in
    England and Scotland. CA6 5HS (Scotland) and CA6 5HT (England): a test case of an open-source
    library built from the national postcode directory (read)."""
    assert Nation(nation) in nations_of(postcode)
