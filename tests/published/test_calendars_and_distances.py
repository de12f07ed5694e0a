"""Bank holidays and distances against published sources.

Bank holidays: Banking and Financial Dealings Act 1971, section 1 and schedule 1 (days in England
and Wales, in Scotland, in Northern Ireland), with the proclaimed first Monday in May and 12 July,
and substitute days; read from memory. Distances: the definition of the metre of 1791 (a quarter
of the meridian is ten million metres, known to differ by 0.02 % from today's), the nautical mile
(a minute of latitude, 1,852 m by the International Hydrographic Conference of 1929), and the
worked example of the haversine between the airports of Nashville and Los Angeles that public
collections of algorithms give, 2,886.4 km on a sphere of 6,371.0 km.
"""

from __future__ import annotations

from datetime import date

import pytest

from jobs.planning.calendars import holiday_on
from jobs.planning.travel import great_circle_m

# 2027: Good Friday 26 March; 25 and 26 December are a Saturday and a Sunday.
EVERYWHERE = {(1, 1), (3, 26), (5, 3), (5, 31), (12, 27), (12, 28)}
DAYS_OF_2027 = {
    "england": EVERYWHERE | {(3, 29), (8, 30)},
    "wales": EVERYWHERE | {(3, 29), (8, 30)},
    "scotland": EVERYWHERE | {(1, 4), (8, 2), (11, 30)},
    "northern_ireland": EVERYWHERE | {(3, 17), (3, 29), (7, 12), (8, 30)},
}


@pytest.mark.parametrize("nation", DAYS_OF_2027)
def test_bank_holidays_of_2027_on_working_days(nation):
    """Schedule 1 of the Act of 1971; the second day of January 2027 is a Saturday in Scotland."""
    days = (date(2027, 1, 1).toordinal() + n for n in range(365))
    found = {
        (day.month, day.day)
        for day in map(date.fromordinal, days)
        if day.weekday() < 5 and holiday_on(day, nation)
    }
    assert found == DAYS_OF_2027[nation]


def test_a_quarter_of_the_meridian():
    """Ten million metres by the definition of 1791, to 0.1 %."""
    assert great_circle_m((0.0, 0.0), (90.0, 0.0)) == pytest.approx(10_000_000, rel=1e-3)


def test_a_minute_of_latitude_is_a_nautical_mile():
    """1,852 m by the conference of 1929; on a sphere of the mean radius to 0.1 %."""
    assert great_circle_m((45.0, 0.0), (45.0 + 1 / 60, 0.0)) == pytest.approx(1852, rel=1e-3)


def test_nashville_to_los_angeles():
    """The worked example of the haversine formula, 2,886.4 km."""
    found = great_circle_m((36.12, -86.67), (33.94, -118.40))
    assert found / 1000 == pytest.approx(2886.4, abs=0.1)
