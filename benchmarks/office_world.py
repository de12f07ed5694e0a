"""Tens of thousands of jobs for `benchmarks.office_pages`, copied by the database itself.

A few jobs in every state are made as people make them (the worlds of `tests.access`), and each is
then multiplied, with whatever hangs on it, by one statement a table. Triggers are off meanwhile:
the copies hold what the triggers would have written, because the first ones went through them.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.contrib.postgres.fields import DateTimeRangeField
from django.db import connection, models

DAYS = 3 * 365
CREWS = 12  # of each world
AUDITED = 0.06  # of the certified jobs were drawn for an audit
THIRD_COMPANY, ITS_WORD = "third_company", "Elderfold"
# What becomes of all jobs in three years; the rest is certified.
SHARES = {
    "called_off": 0.04,
    "to_survey": 0.03,
    "to_plan": 0.03,
    "booked": 0.03,
    "short": 0.02,
    "to_assess": 0.01,
    "to_quantify": 0.01,
}
Model = type[models.Model]
Ids = dict[Model, list[int]]


@dataclass(frozen=True)
class Copies:
    """Rows to multiply. `k` in the SQL is the number of the copy, from `first` to before `until`.

    days, hours: what is added to every moment of a copy, days as SQL. changes: SQL by the model's
    and the column's name, `{column}` standing for the value that is copied.
    """

    roots: Ids
    until: int
    days: str = "0"
    hours: int = 0
    first: int = 0
    left_out: frozenset[str] = frozenset()
    changes: dict[str, str] = field(default_factory=dict)


# Values that may stand in a table once, and what makes a page look like a street and not a mirror.
EVERYWHERE = {
    "Property.reference": "{column} || '-' || {id}",
    "Property.address_line_1": "(1 + k % 197) || ' ' || chr(65 + k % 26) || {column}",
    "Property.town": "(ARRAY['Sampleton', 'Inventon', 'Mockford', 'Trialby'])[1 + k % 4]",
    "Property.postcode": "'LE' || (1 + k % 60) || ' ' || (k % 9) || 'AB'",
    "Property.latitude_deg": "52.3 + (k % 997) / 997.0",
    "Property.longitude_deg": "-1.9 + (k % 787) / 787.0",
    "Certificate.code": "translate(substr(upper(md5(({id})::text)), 1, 12), '01', 'XY')",
    "Photo.sha256": "encode(sha256(({column} || k)::bytea), 'hex')",
    "AuditRound.nonce_commitment": "encode(sha256(({column} || k)::bytea), 'hex')",
    "DrawnJob.draw_order": "{column} + 10 * (1 + k)",
    "Crew.name": "{column} || ' ' || k",
    "Van.name": "{column} || ' ' || k",
    "Crew.van_id": "NULL",
    "User.email": "k || {column}",
    "StockMovement.number": "{column} + 1 + k",
    "IntakeRow.number": "{column} + 1 + k",
    "PhotoHash.difference_hash": "(random() * 9e18)::bigint",
}


# A round says how many jobs it was over and how many were drawn, in one stratum here; no acceptance
# plan draws so many.
ROUNDS_COUNTED = """
WITH counted AS (
    SELECT p.id, p.round_id,
        (SELECT count(*) FROM compliance_populationjob WHERE round_id = p.round_id) AS jobs,
        (SELECT count(*) FROM compliance_drawnjob WHERE round_id = p.round_id) AS drawn
    FROM compliance_populationseal p
), sealed AS (
    UPDATE compliance_populationseal p SET size = c.jobs, strata = jsonb_build_array(
        p.strata -> 0 || jsonb_build_object('population', c.jobs, 'sample', c.drawn))
    FROM counted c WHERE c.id = p.id AND c.drawn > 0
)
UPDATE compliance_auditround r
SET population_size = c.jobs, sample_size = c.drawn, plan = 'confidence', accept_at_most = 0
FROM counted c WHERE c.round_id = r.id AND c.drawn > 0
"""


def fill(jobs: int) -> dict[str, Any]:
    """Worlds by their names, and with them `jobs` jobs of three companies; seals the ledger."""
    from compliance.ledger.seals import make_seal
    from tests.access import worlds as templates

    begun = time.perf_counter()
    worlds = templates.build_worlds()
    templates.WORLDS = (*templates.WORLDS, THIRD_COMPANY)
    templates.SECRETS[THIRD_COMPANY] = ITS_WORD
    company = templates.CompanyFactory(name=f"Invented Lofts {ITS_WORD}")
    scheme = worlds["own"].scheme
    scheme.companies.add(company)
    third = templates.build(templates.World, THIRD_COMPANY, company, scheme)
    everywhere = [*worlds.values(), third]
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        for world in everywhere:
            for copies in copies_of(world, jobs // len(everywhere)):
                multiply(cursor, copies)
        cursor.execute(ROUNDS_COUNTED)
        cursor.execute("SET session_replication_role = DEFAULT")
    made = time.perf_counter()
    seal = make_seal()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(
        f"filled in {made - begun:.0f} s, {seal.tree_size:,} entries sealed and tables analysed "
        f"in {time.perf_counter() - made:.0f} s"
    )
    return worlds


def copies_of(world: Any, jobs: int) -> Iterable[Copies]:
    """What makes a world large, the crews first, since visits are dealt out among them."""
    from jobs.models import Crew, Van

    everything = frozenset(name_of(m) for m in below(Crew, Van))
    yield Copies({Crew: [world.crew.pk]}, CREWS - 1, left_out=everything)
    yield Copies({Van: [world.van.pk]}, CREWS - 1, left_out=everything)
    crews = Crew.objects.filter(company=world.company, name__startswith=world.crew.name)
    vans = Van.objects.filter(company=world.company, name__startswith=world.van.name)
    dealt = {
        f"Visit{event}.{column}": f"(ARRAY{sorted(rows.values_list('pk', flat=True))})"
        f"[1 + k % {CREWS}]"
        for column, rows in (("crew_id", crews), ("van_id", vans))
        for event in ("", "Event")
    }
    yield from _jobs_of(world, jobs, dealt)
    yield from _office_of(world)


def _jobs_of(world: Any, jobs: int, dealt: dict[str, str]) -> Iterable[Copies]:
    from django.utils import timezone

    from jobs.models import Job, Property
    from tests.factories import A_MONDAY

    def home(job: Any) -> Ids:
        return {Property: [job.property_id], Job: [job.pk]}

    until_today = (timezone.localdate() - A_MONDAY.date()).days
    wanted = {stage: int(share * jobs) for stage, share in SHARES.items()}
    certified = jobs - sum(wanted.values())
    audited = int(AUDITED * certified)
    past = f"{until_today - 2} - k * {DAYS} / {max(certified, 1)}"
    audits = frozenset({"DrawnJob", "AuditFollowUp", "Remeasurement"})
    yield Copies(home(world.job), audited, past, changes=dealt)
    yield Copies(home(world.job), certified, past, 0, audited, audits, dealt)
    lately, soon = f"{until_today - 2} - k / {CREWS}", f"{until_today + 1} + k / {CREWS}"
    unjudged = (
        frozenset({"Assessment", "Certificate", "PopulationJob", "IssueRunJob", "RuleRunJob"})
        | audits
    )
    no_visit = frozenset({"Visit", "VisitNeed"})
    for stage, job, days, hours, left_out in (
        ("short", world.shortfall.job, lately, 0, frozenset()),
        ("to_assess", world.job, lately, 14, unjudged),
        ("booked", world.booked_job, soon, 0, frozenset()),
        ("to_plan", world.need.job, lately, 0, frozenset()),
        ("to_quantify", world.draft_job, lately, 0, no_visit),
        ("to_survey", world.draft_job, "1 + k", 0, frozenset()),
        ("called_off", world.draft_job, f"-(k * {DAYS} / {max(jobs, 1)})", 0, no_visit),
    ):
        reason = {"Job.called_off_reason": "'Nobody at home'"} if stage == "called_off" else {}
        said = {"Job.stage": f"'{stage}'", **dealt, **reason}
        yield Copies(home(job), wanted[stage], days, hours, 0, left_out, said)
    on_site = {"Job.stage": "'on_site'", "Visit.status": "'on_site'", **dealt}
    yield Copies(home(world.booked_job), min(CREWS, jobs // 100), str(until_today), changes=on_site)


def _office_of(world: Any) -> Iterable[Copies]:
    """Three years of deliveries, absences, plans, spreadsheets, people and audit rounds."""
    from jobs import models as of_jobs

    audited = frozenset({"PopulationJob", "DrawnJob", "SwitchingStep", "AuditFollowUp"})
    for row, times, days, left_out in (
        (world.movement, 3000, "-k * 1095 / 3000", frozenset()),
        (world.stock_order, 300, "-k * 3", frozenset()),
        (world.absence, 300, "-k * 3", frozenset()),
        (world.run, 300, "-k * 3", frozenset({"ProposedVisit", "StockOrder"})),
        (world.batch, 60, "-k * 15", frozenset()),
        (world.round, 20, "-k * 45", audited),
        (world.seal, 1500, "-k / 2", frozenset()),
        (world.people["installer"], 24, "0", None),
    ):
        if left_out is None:
            left_out = frozenset(name_of(m) for m in below(type(row)))
        yield Copies({type(row): [row.pk]}, times, days, 0, 0, left_out)
    rows = world.batch.rows.values_list("pk", flat=True)
    yield Copies({of_jobs.IntakeRow: list(rows)}, 3000)


def name_of(model: Model) -> str:
    return model.__name__


def below(*owners: Model) -> set[Model]:
    return {to.related_model for owner in owners for to in _relations_to(owner)}


def _relations_to(model: Model) -> list[Any]:
    return [
        one
        for one in model._meta.get_fields(include_hidden=True)
        if one.auto_created and not one.concrete and not one.many_to_many
    ]


def multiply(cursor: Any, copies: Copies) -> None:
    """Copy the roots and all rows that hang on them, with their ledger entries."""
    if copies.until <= copies.first:
        return
    rows = _with_what_hangs_on(copies.roots, copies.left_out)
    bases = {model: _next_id(cursor, model) for model in rows}
    ids = _Ids(rows, bases, copies.first)
    for model in rows:
        _copy(cursor, model, copies, ids)
    _copy_entries(cursor, copies, ids)


def _with_what_hangs_on(roots: Ids, left_out: frozenset[str]) -> Ids:
    found = {model: list(ids) for model, ids in roots.items()}
    waiting = list(roots)
    while waiting:
        owner = waiting.pop()
        for to in _relations_to(owner):
            child = to.related_model
            if name_of(child) in left_out or isinstance(child._meta.pk, models.UUIDField):
                continue
            rows = child._base_manager.filter(**{f"{to.field.name}__in": found[owner]})
            new = set(rows.values_list("pk", flat=True)) - set(found.get(child, ()))
            if new:
                found[child] = found.get(child, []) + sorted(new)
                waiting.append(child)
    return found


def _next_id(cursor: Any, model: Model) -> int:
    table, pk = model._meta.db_table, model._meta.pk.column
    cursor.execute(f'SELECT coalesce(max("{pk}"), 0) + 1 FROM "{table}"')
    return int(cursor.fetchone()[0])


@dataclass(frozen=True)
class _Ids:
    rows: Ids
    bases: dict[Model, int]
    first: int

    def of(self, model: Model, column: str) -> str:
        """SQL of the id in a copy; rows that are not copied keep theirs."""
        number = f"array_position(ARRAY{self.rows[model]}::bigint[], {column}::bigint)"
        each = len(self.rows[model])
        after = self.bases[model] - 1 - self.first * each
        return f"coalesce({after} + k::bigint * {each} + {number}, {column})"


def _copy(cursor: Any, model: Model, copies: Copies, ids: _Ids) -> None:
    columns, values = [], []
    for one in model._meta.concrete_fields:
        if not one.generated:
            columns.append(f'"{one.column}"')
            values.append(_value(one, model, copies, ids))
    table, pk = model._meta.db_table, model._meta.pk.column
    cursor.execute(
        f'INSERT INTO "{table}" ({", ".join(columns)}) SELECT {", ".join(values)} '
        f'FROM "{table}" t, generate_series({copies.first}, {copies.until - 1}) k '
        f'WHERE t."{pk}" = ANY(ARRAY{ids.rows[model]})'
    )
    if isinstance(model._meta.pk, models.AutoField):
        cursor.execute(
            f"SELECT setval(pg_get_serial_sequence('\"{table}\"', '{pk}'), max(\"{pk}\")) "
            f'FROM "{table}"'
        )


def _value(one: Any, model: Model, copies: Copies, ids: _Ids) -> str:
    column, name = f't."{one.column}"', f"{name_of(model)}.{one.attname}"
    said = copies.changes.get(name, EVERYWHERE.get(name.replace("Event.", ".")))
    if said is not None:
        id_column = f't."{model._meta.pk.column}"'
        return said.format(column=column, id=ids.of(model, id_column))
    tracked = model._meta.get_field("pgh_obj").related_model if _is_event(model) else None
    target = tracked if tracked and one.name == "id" else one.related_model
    if isinstance(one, models.AutoField):
        target = model
    if target in ids.rows:
        return ids.of(target, column)
    later = f"make_interval(days => ({copies.days})::int, hours => {copies.hours})"
    if isinstance(one, models.DateTimeField):
        return f"{column} + {later}"
    if isinstance(one, models.DateField):
        return f"{column} + ({copies.days})::int"
    if isinstance(one, DateTimeRangeField):
        return f"tstzrange(lower({column}) + {later}, upper({column}) + {later})"
    return "gen_random_uuid()" if isinstance(one, models.UUIDField) else column


def _is_event(model: Model) -> bool:
    return any(one.name == "pgh_obj" for one in model._meta.concrete_fields)


def _copy_entries(cursor: Any, copies: Copies, ids: _Ids) -> None:
    """The ledger entries of what was copied; payloads stay those of the first."""
    from jobs.models import Job, Visit

    owner = "t.belongs_to"
    for word, model in (("visit", Visit), ("job", Job)):
        if model in ids.rows:
            number = "nullif(split_part(t.belongs_to, ' ', 2), '')::bigint"
            owner = (
                f"CASE WHEN t.belongs_to LIKE '{word} %' "
                f"THEN '{word} ' || {ids.of(model, number)} ELSE {owner} END"
            )
    for model, rows in ids.rows.items():
        cursor.execute(
            "INSERT INTO compliance_ledgerentry "
            "(kind, fact_id, payload, leaf_hash, recorded_at, belongs_to) "
            f"SELECT t.kind, {ids.of(model, 't.fact_id')}, t.payload, t.leaf_hash, "
            f"t.recorded_at + make_interval(days => ({copies.days})::int), {owner} "
            f"FROM compliance_ledgerentry t, "
            f"generate_series({copies.first}, {copies.until - 1}) k "
            f"WHERE t.kind = '{model._meta.db_table}' AND t.fact_id = ANY(ARRAY{rows})"
        )
