"""Finding the entries of a job by what they say themselves, and no table of facts emptied.

`compliance_belongs_to` tells from an entry's payload which job, visit, photo, certificate, drawn
job or finding its fact is of, so that a pack also holds entries whose rows were deleted by force.
"""

from __future__ import annotations

from typing import Any

from django.db import migrations

FUNCTION = """
CREATE FUNCTION compliance_belongs_to(payload text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT coalesce(
        'job ' || (fact ->> 'job_id'),
        'visit ' || (fact ->> 'visit_id'),
        'photo ' || (fact ->> 'photo_id'),
        'certificate ' || (fact ->> 'certificate_id'),
        'drawn_job ' || (fact ->> 'drawn_job_id'),
        'finding ' || (fact ->> 'finding_id'))
    FROM (SELECT payload::jsonb -> 'fact' AS fact) AS written
$$;
"""

REFUSE = """
CREATE FUNCTION compliance_refuse_truncate() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'Facts are kept: % is never emptied.', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation';
END $$;
"""

LEDGER = (
    "compliance_ledgerentry",
    "compliance_ledgerleaf",
    "compliance_ledgernode",
    "compliance_seal",
)


def guarded_tables(schema_editor: Any) -> list[str]:
    """The ledger, and every table whose rows enter it."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'enter_the_ledger'"
        )
        return [*LEDGER, *(row[0] for row in cursor.fetchall())]


def refuse_truncate(apps: Any, schema_editor: Any) -> None:
    for table in guarded_tables(schema_editor):
        schema_editor.execute(
            f"CREATE TRIGGER never_emptied BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION compliance_refuse_truncate()"
        )


def allow_truncate(apps: Any, schema_editor: Any) -> None:
    for table in guarded_tables(schema_editor):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS never_emptied ON {table}")


class Migration(migrations.Migration):
    dependencies = [("compliance", "0007_site_work_enters_the_ledger")]

    operations = [
        migrations.RunSQL(FUNCTION, "DROP FUNCTION compliance_belongs_to(text)"),
        migrations.RunSQL(
            "CREATE INDEX ledger_entry_belongs_to ON compliance_ledgerentry "
            "(compliance_belongs_to(payload))",
            "DROP INDEX ledger_entry_belongs_to",
        ),
        migrations.RunSQL(REFUSE, "DROP FUNCTION compliance_refuse_truncate()"),
        migrations.RunPython(refuse_truncate, allow_truncate),
    ]
