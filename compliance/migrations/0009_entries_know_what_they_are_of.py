"""What an entry belongs to as a column, set by the trigger: cheaper to write than an index of a
function of the payload. The function stays, for whoever checks the column.
"""

from __future__ import annotations

from importlib import import_module

from django.db import migrations, models

# As in 0002_facts_enter_the_ledger, and `belongs_to` beside the payload.
FUNCTION = r"""
CREATE OR REPLACE FUNCTION compliance_record_fact() RETURNS trigger
LANGUAGE plpgsql SET timezone TO 'UTC' SET extra_float_digits TO 1 AS $$
DECLARE
    fact jsonb := to_jsonb(NEW);
    salt text := coalesce(fact ->> 'salt', '');
    body text;
    hashed text;
BEGIN
    IF TG_NARGS > 0 THEN
        FOREACH hashed IN ARRAY TG_ARGV LOOP
            fact := jsonb_set(fact, ARRAY[hashed], to_jsonb('sha256:' || encode(sha256(
                convert_to(salt || coalesce(fact ->> hashed, ''), 'UTF8')), 'hex')));
        END LOOP;
    END IF;
    body := jsonb_build_object('kind', TG_TABLE_NAME, 'fact', fact - 'salt')::text;
    INSERT INTO compliance_ledgerentry
        (kind, fact_id, payload, leaf_hash, recorded_at, belongs_to)
    VALUES (TG_TABLE_NAME, NEW.id, body,
            sha256('\x00'::bytea || convert_to(body, 'UTF8')), clock_timestamp(),
            coalesce('job ' || (fact ->> 'job_id'), 'visit ' || (fact ->> 'visit_id'),
                     'photo ' || (fact ->> 'photo_id'),
                     'certificate ' || (fact ->> 'certificate_id'),
                     'drawn_job ' || (fact ->> 'drawn_job_id'),
                     'finding ' || (fact ->> 'finding_id'), ''));
    RETURN NULL;
END $$;
"""
FORMER = import_module("compliance.migrations.0002_facts_enter_the_ledger").FUNCTION.replace(
    "CREATE FUNCTION", "CREATE OR REPLACE FUNCTION"
)
FILL = """
ALTER TABLE compliance_ledgerentry DISABLE TRIGGER USER;
UPDATE compliance_ledgerentry SET belongs_to = coalesce(compliance_belongs_to(payload), '');
ALTER TABLE compliance_ledgerentry ENABLE TRIGGER USER;
"""


class Migration(migrations.Migration):
    dependencies = [("compliance", "0008_entries_of_a_job")]

    operations = [
        migrations.RunSQL(
            "DROP INDEX ledger_entry_belongs_to",
            "CREATE INDEX ledger_entry_belongs_to ON compliance_ledgerentry "
            "(compliance_belongs_to(payload))",
        ),
        migrations.AddField(
            model_name="ledgerentry",
            name="belongs_to",
            field=models.CharField(
                blank=True,
                default="",
                help_text="What the payload says it is of, such as “visit 12”, to find a job's "
                "entries.",
                max_length=40,
            ),
        ),
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
        migrations.RunSQL(FUNCTION, FORMER),
        migrations.AddIndex(
            model_name="ledgerentry",
            index=models.Index(fields=["belongs_to"], name="ledger_entry_belongs_to"),
        ),
    ]
