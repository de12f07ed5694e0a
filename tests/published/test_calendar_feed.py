"""A crew's calendar, read by the rules of RFC 5545 and not by the library that writes it.

The reader below is written from the RFC's text: content lines (section 3.1), parameters (3.2),
TEXT (3.3.11), DATE-TIME (3.3.5), RRULE by weekday of a month (3.3.10). The time zone rules are
compared with the IANA database through the standard library's `zoneinfo`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from jobs.planning.booking import cancel_visit, move_visit
from jobs.rounds.calendar import crew_calendar
from tests.jobs.loading.yard import Yard, a_yard, next_monday, on

pytestmark = pytest.mark.django_db
LINE = re.compile(r'([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"]*"|[^";:,]*))*):(.*)', re.DOTALL)


@dataclass
class Property:
    name: str
    parameters: dict[str, str]
    value: str


def unfolded(content: bytes) -> list[str]:
    """RFC 5545, 3.1: CRLF followed by one space or tab is taken out."""
    text = re.sub(rb"\r\n[ \t]", b"", content).decode("utf-8")
    assert text.endswith("\r\n")
    return text[:-2].split("\r\n")


def read_line(line: str) -> Property:
    found = LINE.fullmatch(line)
    assert found, f"no content line: {line!r}"
    pairs = (part.split("=", 1) for part in found[2].split(";") if part)
    return Property(found[1], dict(pairs), found[3])


def components(content: bytes, kind: str) -> list[list[Property]]:
    """The properties of every component of a kind; what is nested in it is not among them."""
    found, open_parts = [], []
    for row in map(read_line, unfolded(content)):
        if row.name == "BEGIN":
            open_parts.append((row.value, []))
        elif row.name == "END":
            name, rows = open_parts.pop()
            assert name == row.value
            if name == kind:
                found.append(rows)
        else:
            open_parts[-1][1].append(row)
    assert not open_parts
    return found


def events(content: bytes) -> list[dict[str, Property]]:
    return [{row.name: row for row in rows} for rows in components(content, "VEVENT")]


def text_of(value: str) -> str:
    r"""TEXT, 3.3.11: \\ \; \, and \n are escaped."""
    assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", value), f"unescaped in {value!r}"
    return re.sub(r"\\([\\;,nN])", lambda m: "\n" if m[1] in "nN" else m[1], value)


@pytest.fixture
def yard() -> Yard:
    yard = a_yard()
    home = yard.planned_job({"W170": 2}).property
    home.address_line_1 = "12, Long Meadow; the house \\ behind Öland Yard by the old mill pond"
    home.householder_name, home.householder_phone = "Perpetua Quill", "01632 960555"
    home.householder_email, home.access_notes = "quill@example.test", "Key under the third pot"
    home.save()
    yard.visit(home.jobs.get(), next_monday())
    return yard


def test_content_lines_end_in_crlf_and_hold_at_most_75_octets(yard: Yard):
    """RFC 5545, 3.1: CRLF ends a line; lines SHOULD NOT be longer than 75 octets, CRLF left out."""
    content = crew_calendar(yard.crew)

    assert b"\n" not in content.replace(b"\r\n", b"")
    assert b"\r" not in content.replace(b"\r\n", b"")
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)  # something was long enough to be folded
    for line in lines:
        line.decode("utf-8")  # no character was cut in two, 3.1: a fold SHOULD NOT split one


def test_the_calendar_has_what_is_required_once(yard: Yard):
    """RFC 5545, 3.6: PRODID and VERSION are required once each; 3.7.4: VERSION is 2.0."""
    (calendar,) = components(crew_calendar(yard.crew), "VCALENDAR")
    names = [row.name for row in calendar]

    assert names.count("PRODID") == names.count("VERSION") == 1
    assert {row.name: row.value for row in calendar}["VERSION"] == "2.0"
    assert "METHOD" not in names  # then DTSTAMP is the last revision, 3.8.7.2


def test_every_event_has_its_required_properties_and_no_property_twice(yard: Yard):
    """RFC 5545, 3.6.1: UID and DTSTAMP required, DTSTART required without METHOD, none twice.

    3.8.7.2, 3.8.7.3: DTSTAMP and LAST-MODIFIED are in UTC. 3.8.1.11: STATUS of an event.
    """
    rows = components(crew_calendar(yard.crew), "VEVENT")
    assert rows
    for event in rows:
        names = [row.name for row in event]
        assert len(names) == len(set(names))
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "LOCATION"} <= set(names)
        told = {row.name: row.value for row in event}
        assert re.fullmatch(r"\d{8}T\d{6}Z", told["DTSTAMP"])
        assert re.fullmatch(r"\d{8}T\d{6}Z", told["LAST-MODIFIED"])
        assert told["STATUS"] in {"TENTATIVE", "CONFIRMED", "CANCELLED"}
        assert told["SEQUENCE"].isdigit()


def test_times_are_local_and_name_a_zone_that_is_defined(yard: Yard):
    """RFC 5545, 3.3.5 form 3 and 3.2.19: TZID names a VTIMEZONE of the same file."""
    visit = yard.crew.visits.get()
    content = crew_calendar(yard.crew)
    (zone,) = components(content, "VTIMEZONE")
    (event,) = events(content)

    assert event["DTSTART"].parameters["TZID"] == zone[0].value == "Europe/London"
    start = datetime.strptime(event["DTSTART"].value, "%Y%m%dT%H%M%S")
    assert start.replace(tzinfo=ZoneInfo("Europe/London")) == visit.during.lower


def last_sunday(year: int, month: int) -> datetime:
    after = datetime(year, month + 1, 1)
    return after - timedelta(days=(after.weekday() - 6) % 7 or 7)


def test_the_zone_changes_when_the_iana_database_says(yard: Yard):
    """RFC 5545, 3.6.5: DTSTART of an observance is in the local time before it, by TZOFFSETFROM.

    Each change of 2021 to 2040 as the file's RRULE gives it is compared with `zoneinfo`.
    """
    content = crew_calendar(yard.crew)
    for kind, month in (("DAYLIGHT", 3), ("STANDARD", 10)):
        (rows,) = components(content, kind)
        told = {row.name: row.value for row in rows}
        rule = dict(part.split("=") for part in told["RRULE"].split(";"))
        assert rule == {"FREQ": "YEARLY", "BYMONTH": str(month), "BYDAY": "-1SU"}
        before, after = (
            timedelta(hours=int(told[name][:3])) for name in ("TZOFFSETFROM", "TZOFFSETTO")
        )
        begins = datetime.strptime(told["DTSTART"], "%Y%m%dT%H%M%S")
        for year in range(2021, 2041):
            local = last_sunday(year, month) + timedelta(hours=begins.hour)
            change = (local - before).replace(tzinfo=UTC)
            london = ZoneInfo("Europe/London")
            assert (change - timedelta(seconds=1)).astimezone(london).utcoffset() == before
            assert change.astimezone(london).utcoffset() == after


def test_text_is_escaped_and_reads_back_as_it_was(yard: Yard):
    """RFC 5545, 3.3.11: backslash, semicolon, comma and line end are escaped in TEXT."""
    home = yard.crew.visits.get().job.property
    (event,) = events(crew_calendar(yard.crew))

    assert text_of(event["SUMMARY"].value) == f"Fitting visit: {home.address_line_1}"
    assert text_of(event["LOCATION"].value) == home.address
    assert text_of(event["DESCRIPTION"].value).count("\n") == 1


def test_the_position_is_two_floats_parted_by_a_semicolon(yard: Yard):
    """RFC 5545, 3.8.1.6: GEO is latitude;longitude, six decimals at most."""
    home = yard.crew.visits.get().job.property
    (event,) = events(crew_calendar(yard.crew))

    latitude, longitude = event["GEO"].value.split(";")
    assert (float(latitude), float(longitude)) == (home.latitude_deg, home.longitude_deg)


def test_no_householder_and_no_access_note_stands_in_it(yard: Yard):
    text = b"".join(line.encode() for line in unfolded(crew_calendar(yard.crew))).decode()
    for secret in ("Quill", "960555", "quill@example.test", "third pot"):
        assert secret not in text


def test_a_moved_visit_keeps_its_uid_and_counts_its_sequence_up(yard: Yard):
    """RFC 5545, 3.8.4.7 and 3.8.7.4: the UID stays, the SEQUENCE grows with each revision."""
    visit = yard.crew.visits.get()
    (before,) = events(crew_calendar(yard.crew))

    move_visit(visit, by=yard.planner, version=visit.version, starts_at=on(next_monday(), 10))
    (after,) = events(crew_calendar(yard.crew))

    assert after["UID"].value == before["UID"].value
    assert int(after["SEQUENCE"].value) == int(before["SEQUENCE"].value) + 1
    assert after["DTSTART"].value.endswith("T100000")
    assert after["LAST-MODIFIED"].value >= before["LAST-MODIFIED"].value


def test_a_cancelled_visit_is_told_as_cancelled(yard: Yard):
    """RFC 5545, 3.8.1.11: STATUS:CANCELLED tells a program that shows it to strike it out."""
    visit = yard.crew.visits.get()
    (before,) = events(crew_calendar(yard.crew))
    cancel_visit(visit, "householder away", yard.planner)

    (event,) = events(crew_calendar(yard.crew))

    assert event["STATUS"].value == "CANCELLED"
    assert event["UID"].value == before["UID"].value
    assert "householder away" not in event["DESCRIPTION"].value


def test_a_visit_given_to_another_crew_is_cancelled_here_and_new_there(yard: Yard):
    visit, other = yard.crew.visits.get(), yard.office.crew()
    move_visit(visit, by=yard.planner, version=visit.version, crew=other)

    (here,), (there,) = events(crew_calendar(yard.crew)), events(crew_calendar(other))

    assert (here["STATUS"].value, there["STATUS"].value) == ("CANCELLED", "CONFIRMED")
    assert here["UID"].value != there["UID"].value


def test_the_same_visits_give_the_same_bytes(yard: Yard):
    """What an ETag rests on (RFC 9110, 8.8.3)."""
    assert crew_calendar(yard.crew) == crew_calendar(yard.crew)


def test_the_last_revision_is_when_the_visit_was_last_changed(yard: Yard):
    """RFC 5545, 3.8.7.2: without METHOD, DTSTAMP is the instance's last revision."""
    (event,) = events(crew_calendar(yard.crew))
    stamp = datetime.strptime(event["DTSTAMP"].value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    assert abs(stamp - timezone.now()) < timedelta(minutes=10)
