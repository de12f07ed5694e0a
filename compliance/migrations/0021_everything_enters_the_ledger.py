"""Every table that is only added to, and every history of edits, enters the ledger.

Rows that are there already enter now: the ledger cannot speak for the time before. Tables that
begin to have a history get an event that says what each row holds.
"""

from __future__ import annotations

from typing import Any

from django.db import migrations

# Table of facts -> columns that enter as hashes.
FACTS: dict[str, tuple[str, ...]] = {
    "jobs_layerplan": ("quantities",),
    "jobs_vanloading": (),
    "jobs_stockmovement": (),
    "compliance_populationjob": (),
    "compliance_evidenceaccess": (),
    "compliance_jobread": (),
    "compliance_answerinspection": (),
    "compliance_certificatekey": (),
}
# Tracked model -> columns of its events that enter as salted hashes.
TRACKED: dict[tuple[str, str], tuple[str, ...]] = {
    ("jobs", "Company"): (),
    ("jobs", "Scheme"): (),
    ("jobs", "SchemeCompany"): (),
    ("jobs", "User"): ("email", "first_name", "last_name"),
    ("jobs", "Property"): (
        "householder_name",
        "householder_phone",
        "householder_email",
        "access_notes",
    ),
    ("jobs", "Depot"): (),
    ("jobs", "DepotHours"): (),
    ("jobs", "StockItem"): (),
    ("jobs", "StockOrder"): (),
    ("jobs", "Van"): (),
    ("jobs", "Crew"): (),
    ("jobs", "Operative"): ("name", "card_reference"),
    ("jobs", "Absence"): ("reason", "note"),
    ("jobs", "Job"): ("called_off_reason",),
    ("jobs", "Survey"): ("access_note", "note"),
    ("jobs", "LoftArea"): (),
    ("jobs", "Obstacle"): (),
    ("jobs", "Fixture"): (),
    ("jobs", "Hazard"): (),
    ("jobs", "VisitNeed"): ("note",),
    ("jobs", "BarredCrew"): (),
    ("jobs", "AgreedWindow"): ("note",),
    ("jobs", "Visit"): ("note", "stop_reason"),
    ("jobs", "VisitOperative"): (),
    ("compliance", "DepthRule"): (),
    ("compliance", "Shortfall"): (),
    ("compliance", "AuditRound"): (),
    ("compliance", "RetentionPeriod"): (),
    ("compliance", "LegalHold"): ("reason", "lifted_because"),
    ("compliance", "ErasureRequest"): (),
}
NO_SALT = "00000000-0000-0000-0000-000000000000"

EVENT_FACT = f"""
CREATE FUNCTION compliance_event_fact(event jsonb, words text[], salt text) RETURNS jsonb
LANGUAGE plpgsql AS $$
DECLARE
    fact jsonb := event - ARRAY['pgh_id', 'pgh_context_id', 'id'];
    context jsonb;
    word text;
BEGIN
    IF cardinality(words) > 0 THEN
        FOREACH word IN ARRAY words LOOP
            fact := jsonb_set(fact, ARRAY[word], to_jsonb('sha256:' || encode(sha256(
                convert_to(coalesce(salt, '{NO_SALT}') || coalesce(event ->> word, ''), 'UTF8')),
                'hex')));
        END LOOP;
    END IF;
    IF event ->> 'pgh_context_id' IS NOT NULL THEN
        SELECT jsonb_build_object('by', c.metadata -> 'user', 'context', 'sha256:' || encode(sha256(
            convert_to(c.id::text || c.metadata::text, 'UTF8')), 'hex'))
        INTO context FROM pghistory_context c WHERE c.id = (event ->> 'pgh_context_id')::uuid;
    END IF;
    RETURN fact || coalesce(context, '{{"by": null, "context": null}}')
        || jsonb_build_object('id', event -> 'pgh_id', 'row_id', event -> 'id');
END $$;
"""

BELONGS_TO = """
CREATE OR REPLACE FUNCTION compliance_fact_of(kind text, fact jsonb) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT coalesce(
        'job ' || (fact ->> 'job_id'),
        'visit ' || (fact ->> 'visit_id'),
        'photo ' || (fact ->> 'photo_id'),
        'certificate ' || (fact ->> 'certificate_id'),
        'drawn_job ' || (fact ->> 'drawn_job_id'),
        'finding ' || (fact ->> 'finding_id'),
        CASE kind
            WHEN 'jobs_jobevent' THEN 'job ' || (fact ->> 'row_id')
            WHEN 'jobs_propertyevent' THEN 'property ' || (fact ->> 'row_id')
            WHEN 'compliance_depthruleevent' THEN 'rule ' || (fact ->> 'row_id')
        END,
        'survey ' || (fact ->> 'survey_id'),
        'need ' || coalesce(fact ->> 'need_id', fact ->> 'visitneed_id'))
$$;
CREATE OR REPLACE FUNCTION compliance_belongs_to(payload text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT compliance_fact_of(payload::jsonb ->> 'kind', payload::jsonb -> 'fact')
$$;
"""

RECORD_EVENT = rf"""
CREATE FUNCTION compliance_record_event() RETURNS trigger
LANGUAGE plpgsql SET timezone TO 'UTC' SET extra_float_digits TO 1 AS $$
DECLARE
    event jsonb := to_jsonb(NEW);
    salt uuid := '{NO_SALT}';
    fact jsonb;
    body text;
    word text;
BEGIN
    IF TG_NARGS > 0 THEN
        FOREACH word IN ARRAY TG_ARGV LOOP
            IF event ->> word <> '' THEN
                salt := gen_random_uuid();
            END IF;
        END LOOP;
        IF salt <> '{NO_SALT}' THEN
            INSERT INTO compliance_historysalt (kind, fact_id, salt)
            VALUES (TG_TABLE_NAME, NEW.pgh_id, salt);
        END IF;
    END IF;
    fact := compliance_event_fact(event, TG_ARGV, salt::text);
    body := jsonb_build_object('kind', TG_TABLE_NAME, 'fact', fact)::text;
    INSERT INTO compliance_ledgerentry
        (kind, fact_id, payload, leaf_hash, recorded_at, belongs_to)
    VALUES (TG_TABLE_NAME, NEW.pgh_id, body,
            sha256('\x00'::bytea || convert_to(body, 'UTF8')), clock_timestamp(),
            coalesce(compliance_fact_of(TG_TABLE_NAME, fact), ''));
    RETURN NULL;
END $$;

CREATE FUNCTION compliance_forget_salt() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    DELETE FROM compliance_historysalt WHERE kind = TG_TABLE_NAME AND fact_id = NEW.pgh_id;
    RETURN NULL;
END $$;
"""

# The library's own function writes over a context that learnt more (a second act in one request
# or task), and with it over who did what came before. Here each becomes a row that stays.
ATTACH_CONTEXT = """
CREATE OR REPLACE FUNCTION _pgh_attach_context() RETURNS pghistory_context.id%TYPE AS $$
DECLARE
    told text := nullif(current_setting('pghistory.context_metadata', true), '');
    open_context text := nullif(current_setting('pghistory.context_id', true), '');
    own_id uuid;
BEGIN
    IF open_context IS NULL OR told IS NULL THEN
        RETURN NULL;
    END IF;
    own_id := md5(open_context || told::jsonb::text)::uuid;
    INSERT INTO pghistory_context (id, metadata, created_at, updated_at)
    VALUES (own_id, told::jsonb, now(), now()) ON CONFLICT (id) DO NOTHING;
    RETURN own_id;
END $$ LANGUAGE plpgsql;
"""


def bring_histories_up(apps: Any, schema_editor: Any) -> None:
    """An event for every row whose last one says something else, or that has none."""
    for label, name in TRACKED:
        tracked, event = apps.get_model(label, name), apps.get_model(label, f"{name}Event")
        table, events = tracked._meta.db_table, event._meta.db_table
        fields = [f for f in event._meta.concrete_fields if not f.column.startswith("pgh_")]
        columns = [f.column for f in fields]
        has_object = any(f.column == "pgh_obj_id" for f in event._meta.concrete_fields)
        into = ", ".join([*columns, "pgh_created_at", "pgh_label"])
        into += ", pgh_obj_id" if has_object else ""
        for label_told, row, other in (("snapshot", "r", "e"), ("delete", "e", "r")):
            values = ", ".join(f"{row}.{c}" for c in columns)
            differs = f"({values}) IS DISTINCT FROM ({', '.join(f'{other}.{c}' for c in columns)})"
            if label_told == "delete":
                differs = "r.id IS NULL AND e.pgh_label <> 'delete'"
            else:
                differs = f"r.id IS NOT NULL AND {differs}"
            schema_editor.execute(
                f"INSERT INTO {events} ({into}) SELECT {values}, now(), '{label_told}'"
                f"{f', {row}.id' if has_object else ''} FROM {table} r FULL JOIN "
                f"(SELECT DISTINCT ON (id) * FROM {events} ORDER BY id, pgh_id DESC) e "
                f"ON e.id = r.id WHERE {differs}"
            )


def enter(schema_editor: Any, kind: str, key: str, fact: str, source: str) -> None:
    schema_editor.execute(
        r"INSERT INTO compliance_ledgerentry "
        r"(kind, fact_id, payload, leaf_hash, recorded_at, belongs_to) "
        rf"SELECT '{kind}', number, body, sha256('\x00'::bytea || convert_to(body, 'UTF8')), "
        r"clock_timestamp(), coalesce(compliance_belongs_to(body), '') FROM ("
        rf"SELECT f.{key} AS number, jsonb_build_object('kind', '{kind}', 'fact', {fact})::text "
        rf"AS body FROM {source} ORDER BY f.{key}) written ON CONFLICT (kind, fact_id) DO NOTHING"
    )


def enter_what_is_there(apps: Any, schema_editor: Any) -> None:
    schema_editor.execute("SET LOCAL timezone TO 'UTC'")
    schema_editor.execute("SET LOCAL extra_float_digits TO 1")
    for table, hashed in FACTS.items():
        fact = "to_jsonb(f)"
        for column in hashed:
            digest = f"encode(sha256(convert_to(to_jsonb(f) ->> '{column}', 'UTF8')), 'hex')"
            fact = f"jsonb_set({fact}, ARRAY['{column}'], to_jsonb('sha256:' || {digest}))"
        enter(schema_editor, table, "id", fact, f"{table} f")
    for (label, name), words in TRACKED.items():
        events = apps.get_model(label, f"{name}Event")._meta.db_table
        if words:
            told = " || ".join(f"{word}" for word in words)
            schema_editor.execute(
                "INSERT INTO compliance_historysalt (kind, fact_id, salt) "
                f"SELECT '{events}', pgh_id, gen_random_uuid() FROM {events} "
                f"WHERE {told} <> '' ON CONFLICT DO NOTHING"
            )
        listed = f"ARRAY[{', '.join(repr(word) for word in words)}]::text[]"
        source = (
            f"{events} f LEFT JOIN compliance_historysalt s "
            f"ON s.kind = '{events}' AND s.fact_id = f.pgh_id"
        )
        fact = f"compliance_event_fact(to_jsonb(f), {listed}, s.salt::text)"
        enter(schema_editor, events, "pgh_id", fact, source)


def set_triggers(apps: Any, schema_editor: Any) -> None:
    for table, hashed in FACTS.items():
        _set_triggers(schema_editor, table, "compliance_record_fact", hashed)
    for (label, name), words in TRACKED.items():
        events = apps.get_model(label, f"{name}Event")._meta.db_table
        _set_triggers(schema_editor, events, "compliance_record_event", words)
        if words:
            schema_editor.execute(
                f"CREATE TRIGGER forget_the_salt AFTER UPDATE ON {events} FOR EACH ROW "
                "WHEN (OLD.* IS DISTINCT FROM NEW.*) EXECUTE FUNCTION compliance_forget_salt()"
            )


def _set_triggers(schema_editor: Any, table: str, function: str, hashed: tuple[str, ...]) -> None:
    arguments = ", ".join(f"'{column}'" for column in hashed)
    schema_editor.execute(
        f"CREATE TRIGGER enter_the_ledger AFTER INSERT ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {function}({arguments})"
    )
    schema_editor.execute(
        f"CREATE TRIGGER never_emptied BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION compliance_refuse_truncate()"
    )


def drop_triggers(apps: Any, schema_editor: Any) -> None:
    events = [apps.get_model(label, f"{name}Event")._meta.db_table for label, name in TRACKED]
    for table in (*FACTS, *events):
        for trigger in ("enter_the_ledger", "never_emptied", "forget_the_salt"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {trigger} ON {table}")


class Migration(migrations.Migration):
    dependencies = [
        ("compliance", "0020_history_of_rounds"),
        ("jobs", "0021_every_deletion_has_a_history"),
        ("pghistory", "0007_auto_20250421_0444"),
    ]

    operations = [
        migrations.RunSQL(EVENT_FACT, "DROP FUNCTION compliance_event_fact(jsonb, text[], text)"),
        migrations.RunSQL(BELONGS_TO, migrations.RunSQL.noop),
        migrations.RunSQL(
            RECORD_EVENT,
            "DROP FUNCTION compliance_record_event(); DROP FUNCTION compliance_forget_salt()",
        ),
        migrations.RunSQL(ATTACH_CONTEXT, migrations.RunSQL.noop),
        migrations.RunPython(bring_histories_up, migrations.RunPython.noop),
        migrations.RunPython(enter_what_is_there, migrations.RunPython.noop),
        migrations.RunPython(set_triggers, drop_triggers),
    ]
