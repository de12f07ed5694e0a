"""Triggers that write a ledger entry for every fact, in the fact's own transaction.

Columns named after a table are replaced by a SHA-256 of their content: personal data, so that
erasing it later keeps the proofs (salted by the row's `salt`, which never enters the ledger),
and bulky columns, so that the ledger stays small.
"""

from __future__ import annotations

from django.db import migrations

FACTS: dict[str, tuple[str, ...]] = {
    "jobs_prestartcheck": (),
    "jobs_photo": (),
    "jobs_photoinspection": (),
    "jobs_depthreading": (),
    "jobs_handover": ("signed_name", "signature_svg"),
    "compliance_assessment": ("inputs", "arithmetic"),
    "compliance_certificate": ("contents",),
    "compliance_certificatewithdrawal": (),
    "compliance_drawnjob": (),
    "compliance_finding": (),
    "compliance_findinganswer": (),
}

FUNCTION = r"""
CREATE FUNCTION compliance_record_fact() RETURNS trigger
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
    INSERT INTO compliance_ledgerentry (kind, fact_id, payload, leaf_hash, recorded_at)
    VALUES (TG_TABLE_NAME, NEW.id, body,
            sha256('\x00'::bytea || convert_to(body, 'UTF8')), clock_timestamp());
    RETURN NULL;
END $$;
"""


def trigger(table: str, hashed: tuple[str, ...]) -> migrations.RunSQL:
    arguments = ", ".join(f"'{column}'" for column in hashed)
    return migrations.RunSQL(
        f"CREATE TRIGGER enter_the_ledger AFTER INSERT ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION compliance_record_fact({arguments})",
        f"DROP TRIGGER enter_the_ledger ON {table}",
    )


class Migration(migrations.Migration):
    dependencies = [("compliance", "0001_initial"), ("jobs", "0002_same_company")]

    operations = [
        migrations.RunSQL(FUNCTION, "DROP FUNCTION compliance_record_fact()"),
        *(trigger(table, hashed) for table, hashed in FACTS.items()),
    ]
