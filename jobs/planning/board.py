"""The planning board: crews down, days across, every visit as long as it lasts.

A board is what the database holds, laid out in steps of five minutes after local midnight, so
that a page can draw it without working anything out. Nothing is stored.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from django.db.models import Prefetch, Q
from django.utils import timezone

from jobs.loading.needs import VisitShare, shares_of
from jobs.loading.reloads import Reload, reloads_planned
from jobs.managers import VisitQuerySet
from jobs.models import Absence, Crew, Operative, Property, User, Visit
from jobs.planning.board_parts import (
    STEP_MIN,
    STEPS_A_DAY,
    STEPS_AN_HOUR,
    WORKING_WEEK,
    Away,
    BackAtDepot,
    Block,
    Board,
    CrewRow,
    DayHead,
    Leg,
    Pause,
    Position,
    Track,
    working_days_from,
)
from jobs.planning.board_stock import DayStock, stock_of_days
from jobs.planning.calendars import holiday_on, midnight
from jobs.planning.travel import Drive, drive_between, known_roads


def board_of(user: User, first: date, count: int, crews: Iterable[int] | None = None) -> Board:
    """`count` working days from `first`, of all bookable crews of a company or some of them.

    A weekend day between them is shown when something is booked on it. The number of queries
    does not depend on how much is booked.
    """
    until = working_days_from(first, count)
    visits = list(_visits(user, first, until, crews).with_who_goes())
    days = _days(first, count, until, visits)
    found = list(_crews(user, crews, visits))
    shares = shares_of(visits)
    away = _absences(user, days, found)
    by_place: dict[tuple[int, date], list[Visit]] = defaultdict(list)
    for visit in visits:
        by_place[visit.crew_id, local_day(visit)].append(visit)
    with known_roads(_stops_by_day(found, by_place)):
        rows = tuple(
            _row(crew, [(day, by_place[crew.pk, day]) for day in days], shares, away)
            for crew in found
        )
    opens, hours = _axis(found, visits)
    stock = stock_of_days(user, days) if crews is None else {}
    return Board(first, count, days, _heads(days, rows, stock), rows, opens, hours)


def _stops_by_day(
    crews: Iterable[Crew], by_place: Mapping[tuple[int, date], list[Visit]]
) -> Iterator[list[Position | None]]:
    """Where each crew is on each day with visits: base, depot, homes."""
    known = {crew.pk: crew for crew in crews}
    for (crew_id, _), visits in by_place.items():
        if crew_id in known:
            ends = [base_of(known[crew_id]), depot_of(known[crew_id])]
            yield [*ends, *(position_of(visit.job.property) for visit in visits)]


def stamps_of(user: User, first: date, count: int) -> dict[int, str]:
    """The stamp of every crew's row, without building the rows."""
    until = working_days_from(first, count)
    shown: dict[int, list[Visit]] = defaultdict(list)
    for visit in _visits(user, first, until, None):
        shown[visit.crew_id].append(visit)
    visits = [visit for found in shown.values() for visit in found]
    crews = list(_crews(user, None, visits))
    days = _days(first, count, until, visits)
    away = _absences(user, days, crews)
    return {crew.pk: _stamp(crew, shown[crew.pk], away) for crew in crews}


def local_day(visit: Visit) -> date:
    return timezone.localtime(visit.during.lower).date()


def step_of(moment: datetime) -> int:
    """Steps after local midnight, to the nearest."""
    local = timezone.localtime(moment)
    return round((local.hour * 60 + local.minute + local.second / 60) / STEP_MIN)


def step_of_clock(clock: time) -> int:
    return round((clock.hour * 60 + clock.minute) / STEP_MIN)


def position_of(home: Property) -> Position | None:
    if home.latitude_deg is None or home.longitude_deg is None:
        return None
    return home.latitude_deg, home.longitude_deg


def base_of(crew: Crew) -> Position | None:
    if crew.base_latitude_deg is None or crew.base_longitude_deg is None:
        return None
    return crew.base_latitude_deg, crew.base_longitude_deg


def depot_of(crew: Crew) -> Position | None:
    depot = crew.depot
    if depot is None or depot.latitude_deg is None or depot.longitude_deg is None:
        return None
    return depot.latitude_deg, depot.longitude_deg


# --- What is read


def _visits(user: User, first: date, until: date, crews: Iterable[int] | None) -> VisitQuerySet:
    visits = Visit.objects.visible_to(user).live().between(first, until).with_job()
    if crews is not None:
        visits = visits.filter(crew__in=crews)
    return visits.order_by("during", "id")


def _crews(user: User, crews: Iterable[int] | None, visits: list[Visit]) -> Iterable[Crew]:
    """Those that can be booked, and those that no longer can but still have visits."""
    shown = Q(is_active=True) | Q(pk__in={visit.crew_id for visit in visits})
    found = Crew.objects.visible_to(user).filter(shown).select_related("van", "depot")
    if crews is not None:
        found = found.filter(pk__in=crews)
    return found.prefetch_related(Prefetch("operatives", Operative.objects.order_by("name")))


def _days(first: date, count: int, until: date, visits: Iterable[Visit]) -> tuple[date, ...]:
    booked = {local_day(visit) for visit in visits}
    span = (first + timedelta(days=n) for n in range((until - first).days))
    return tuple(day for day in span if day.weekday() < WORKING_WEEK or day in booked)


def _absences(user: User, days: tuple[date, ...], crews: list[Crew]) -> dict[int, list[Absence]]:
    """By crew: when it, or somebody in it, is away."""
    if not days:
        return {}
    crew_of = {person.pk: crew.pk for crew in crews for person in crew.operatives.all()}
    found: dict[int, list[Absence]] = defaultdict(list)
    begins, ends = midnight(days[0]), midnight(days[-1] + timedelta(days=1))
    absences = Absence.objects.visible_to(user).filter(during__overlap=(begins, ends))
    for absence in absences.select_related("operative").order_by("during"):
        crew_id = absence.crew_id or crew_of.get(absence.operative_id)
        if crew_id is not None:
            found[crew_id].append(absence)
    return found


# --- How it is laid out


def _row(
    crew: Crew,
    days: list[tuple[date, list[Visit]]],
    shares: Mapping[int, VisitShare],
    away: Mapping[int, list[Absence]],
) -> CrewRow:
    skills = frozenset(skill for person in crew.operatives.all() for skill in person.skills)
    absences = away.get(crew.pk, [])
    tracks = tuple(_track(crew, day, visits, shares, absences) for day, visits in days)
    shown = [visit for _, visits in days for visit in visits]
    return CrewRow(crew, skills, tracks, _stamp(crew, shown, away))


def _track(
    crew: Crew,
    day: date,
    visits: list[Visit],
    shares: Mapping[int, VisitShare],
    absences: list[Absence],
) -> Track:
    opens, closes = step_of_clock(crew.day_starts_at), step_of_clock(crew.day_ends_at)
    away = _away_on(crew, day, absences, opens, closes)
    free = 0 if any(stretch.whole_day for stretch in away) else closes - opens
    # With one operative away the others still come: that warns, and takes no hours.
    cut = (stretch for stretch in away if stretch.refuses and not stretch.whole_day)
    free -= sum(_within(stretch, opens, closes) for stretch in cut)
    van_m3 = crew.van.load_volume_m3 if crew.van else None
    taken = {visit.pk: shares[visit.pk] for visit in visits if visit.pk in shares}
    reloads = reloads_planned(taken.values(), van_m3)
    blocks, way_home = _round(crew, visits, taken, reloads)
    return Track(
        day,
        opens,
        closes,
        crew.overtime_minutes // STEP_MIN,
        blocks,
        away,
        way_home,
        _pause(crew, blocks) if free > 0 else None,
        available_h=max(0, free) / STEPS_AN_HOUR,
        booked_h=sum(block.minutes for block in blocks) / 60,
        volume_m3=sum(block.volume_m3 for block in blocks),
        van_m3=van_m3,
        loads=len(reloads) + 1,
    )


def _within(stretch: Away, opens: int, closes: int) -> int:
    return max(0, min(stretch.step + stretch.steps, closes) - max(stretch.step, opens))


def _away_on(
    crew: Crew,
    day: date,
    absences: list[Absence],
    opens: int,
    closes: int,
) -> tuple[Away, ...]:
    found = []
    holiday = holiday_on(day, crew.nation)
    if holiday or day.isoweekday() not in crew.works_on:
        words = holiday or "not a working day"
        found.append(Away(opens, closes - opens, words, whole_day=True))
    for absence in absences:
        begins, ends = absence.during.lower, absence.during.upper
        if begins >= midnight(day + timedelta(days=1)) or ends <= midnight(day):
            continue
        first = max(opens, 0 if begins <= midnight(day) else step_of(begins))
        last = min(closes, STEPS_A_DAY if ends >= midnight(day + timedelta(1)) else step_of(ends))
        of_crew = absence.crew_id is not None
        why = absence.get_reason_display().lower()
        words = why if of_crew else f"{absence.operative} away: {why}"
        whole = of_crew and first <= opens and last >= closes
        found.append(Away(first, last - first, words, whole, refuses=of_crew))
    return tuple(stretch for stretch in found if stretch.steps > 0)


def _round(
    crew: Crew,
    visits: list[Visit],
    shares: Mapping[int, VisitShare],
    reloads: Sequence[Reload],
) -> tuple[tuple[Block, ...], Leg | None]:
    blocks: list[Block] = []
    before = {reload.visit: reload for reload in reloads if not reload.during}
    here, free = base_of(crew), None
    for order, visit in enumerate(visits, start=1):
        starts, ends = visit.during.lower, visit.during.upper
        there = position_of(visit.job.property)
        leg, back = _leg_to(_drive(here, there), starts, free), None
        if visit.pk in before:
            back, leg = _by_depot(crew, before[visit.pk].number, (here, there), starts, free, leg)
        minutes = round((ends - starts).total_seconds() / 60)
        step, last = step_of(starts), step_of(ends)
        if last <= step:  # it goes on past midnight
            last = STEPS_A_DAY
        due = visit.job.due_on
        late = due is not None and timezone.localtime(starts).date() > due
        volume = shares[visit.pk].volume_m3 if visit.pk in shares else 0.0
        loaded = tuple(r.number for r in reloads if r.during and r.visit == visit.pk)
        block = Block(visit, step, last - step, minutes, order, volume, leg, late)
        blocks.append(replace(block, back=back, loads_during=loaded))
        here, free = there, ends
    home = _drive(here, base_of(crew)) if blocks else None
    if home is None or free is None:
        return tuple(blocks), None
    steps = max(1, round(home.minutes / STEP_MIN))
    return tuple(blocks), _leg(step_of(free), steps, home)


def _pause(crew: Crew, blocks: tuple[Block, ...]) -> Pause | None:
    """Where the break goes: between its earliest and latest beginning, beside visits and drives."""
    if not crew.break_minutes or not blocks:
        return None
    steps = -(crew.break_minutes // -STEP_MIN)
    earliest, latest = step_of_clock(crew.break_earliest), step_of_clock(crew.break_latest)
    free = earliest
    for block in blocks:
        if free + steps <= (block.leg.step if block.leg else block.step):
            break
        free = max(free, block.step + block.steps)
    fits = free <= latest
    return Pause(free if fits else earliest, steps, crew.break_minutes, fits)


def _drive(here: Position | None, there: Position | None) -> Drive | None:
    return drive_between(here, there) if here and there else None


def _leg_to(drive: Drive | None, starts: datetime, free: datetime | None) -> Leg | None:
    """The drive that ends as the visit begins; tight where the visit before ends too late."""
    if drive is None or drive.minutes < 0.5:
        return None
    minutes, ends = round(drive.minutes), step_of(starts)
    begins, late = max(0, ends - max(1, round(minutes / STEP_MIN))), 0
    if free is not None:
        late = max(0, minutes - round((starts - free).total_seconds() / 60))
        begins = min(max(begins, step_of(free)), ends - 1)
    return _leg(begins, ends - begins, drive, late)


def _leg(step: int, steps: int, drive: Drive, late_min: int = 0) -> Leg:
    return Leg(step, steps, round(drive.minutes), drive.km, late_min, drive.straight)


def _by_depot(
    crew: Crew,
    number: int,
    ends: tuple[Position | None, Position | None],
    starts: datetime,
    free: datetime | None,
    direct: Leg | None,
) -> tuple[BackAtDepot, Leg | None]:
    """Where loading at the depot stands between two visits, and the drive from there.

    All of it ends as the visit begins, drawn shorter where there is too little time. Without
    positions it stands in the middle of the gap, beside the direct drive.
    """
    name, loading = (crew.depot.name, crew.depot.reload_minutes) if crew.depot else ("the depot", 0)
    at = depot_of(crew)
    out, on = _drive(ends[0], at), _drive(at, ends[1])
    last = step_of(starts)
    room = max(0, last - (step_of(free) if free else last))
    if out is None or on is None:
        steps = max(1, min(room, round(loading / STEP_MIN)))
        return BackAtDepot(last - (room + steps) // 2, steps, number, name, None), direct
    needed = out.minutes + loading + on.minutes
    share = min(1.0, room * STEP_MIN / needed) if needed else 1.0
    out_steps, load_steps, on_steps = (
        max(1, round(minutes * share / STEP_MIN)) for minutes in (out.minutes, loading, on.minutes)
    )
    late = max(0, round(needed) - room * STEP_MIN)
    away, back = last - on_steps, last - on_steps - load_steps
    there = _leg(back - out_steps, out_steps, out)
    return (
        BackAtDepot(back, load_steps, number, name, there),
        _leg(away, on_steps, on, late),
    )


def _stamp(
    crew: Crew,
    visits: Iterable[Visit],
    away: Mapping[int, list[Absence]],
) -> str:
    parts = [f"{crew.version}/{crew.van_id}"]
    parts += [
        f"{v.pk}.{v.version}.{v.status}.{v.during.lower:%m%d%H%M}.{v.held}.{v.promised_at}"
        for v in visits
    ]
    parts += [f"a{absence.pk}.{absence.version}" for absence in away.get(crew.pk, [])]
    return hashlib.sha256("|".join(parts).encode()).hexdigest()[:12]


def _heads(
    days: tuple[date, ...], rows: tuple[CrewRow, ...], stock: Mapping[date, DayStock]
) -> tuple[DayHead, ...]:
    heads = []
    for nth, day in enumerate(days):
        tracks = [row.tracks[nth] for row in rows]
        closed = {track.closed.words for track in tracks if track.closed}
        everywhere = len(closed) == 1 and all(track.closed for track in tracks)
        heads.append(
            DayHead(
                day,
                sum(track.available_h for track in tracks),
                sum(track.booked_h for track in tracks),
                sum(len(track.blocks) for track in tracks),
                closed.pop() if everywhere else "",
                stock.get(day),
            )
        )
    return tuple(heads)


def _axis(crews: list[Crew], visits: list[Visit]) -> tuple[int, int]:
    """The hours the axis shows: every crew's day and every visit, half an hour about them."""
    starts = [step_of_clock(crew.day_starts_at) for crew in crews] or [8 * STEPS_AN_HOUR]
    ends = [step_of_clock(crew.day_ends_at) for crew in crews] or [17 * STEPS_AN_HOUR]
    starts += [step_of(visit.during.lower) for visit in visits]
    ends += [step_of(visit.during.upper) for visit in visits]
    first = max(0, (min(starts) - 6) // STEPS_AN_HOUR)
    last = min(24, -((max(ends) + 6) // -STEPS_AN_HOUR))
    return first, last - first
