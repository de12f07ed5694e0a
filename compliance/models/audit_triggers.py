"""What the database refuses in an audit round, whoever asks: order, terms, population, draw.

A round is committed, then its population is sealed, then the nonce is shown and the sample
drawn. What an earlier step fixed no later one may move, so that neither side can choose with
what it has learnt since.
"""

from __future__ import annotations

import pgtrigger

TERMS = [
    "scheme",
    "auditor",
    "company",
    "crew",
    "nation",
    "postcode_areas",
    "period_from",
    "period_to",
    "plan",
    "level",
    "severity",
    "severity_reason",
    "aql",
    "confidence",
    "defective_share",
    "strata_by",
    "allocation",
    "nonce_commitment",
]

ROUND_BEGINS_COMMITTED = pgtrigger.Trigger(
    name="audit_round_begins_committed",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="""
        IF NEW.state <> 'committed' OR NEW.nonce_hex <> '' OR NEW.seal_id IS NOT NULL
            OR NEW.sample_size <> 0 OR NEW.population_size <> 0 OR NEW.accepted IS NOT NULL THEN
            RAISE EXCEPTION 'An audit round begins with nothing sealed and nothing drawn.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """,
)

# The Seal is the first one over the population's entry, so that nobody picks among Seals; the
# figures are those of the population's own fact.
ROUND_KEEPS_ITS_ORDER = pgtrigger.Trigger(
    name="audit_round_keeps_its_order",
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func="""
        IF OLD.state <> 'committed' AND (NEW.seal_id, NEW.population_size, NEW.population_sha256,
                NEW.sample_size, NEW.accept_at_most) IS DISTINCT FROM (OLD.seal_id,
                OLD.population_size, OLD.population_sha256, OLD.sample_size, OLD.accept_at_most)
        THEN
            RAISE EXCEPTION 'What was sealed stands: population, Seal and size of the sample.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        IF NEW.nonce_hex <> OLD.nonce_hex
            AND NOT (OLD.state = 'sealed' AND NEW.state = 'drawn') THEN
            RAISE EXCEPTION 'The nonce is shown once, with the draw.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        IF NEW.accepted IS DISTINCT FROM OLD.accepted
            AND NOT (OLD.state = 'drawn' AND NEW.state = 'closed') THEN
            RAISE EXCEPTION 'The verdict of a round is written once, when it is closed.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        IF OLD.state = 'committed' AND NEW.state = 'sealed' THEN
            IF NOT EXISTS (
                SELECT 1 FROM compliance_populationseal p
                JOIN compliance_ledgerentry e
                    ON e.kind = 'compliance_populationseal' AND e.fact_id = p.id
                JOIN compliance_ledgerleaf l ON l.entry_id = e.id
                WHERE p.round_id = NEW.id AND p.size = NEW.population_size
                  AND p.sha256 = NEW.population_sha256
                  AND NEW.seal_id = (SELECT min(s.id) FROM compliance_seal s
                                     WHERE s.tree_size > l.position)
            ) THEN
                RAISE EXCEPTION 'A round is sealed by the first Seal over its own population.'
                    USING ERRCODE = 'restrict_violation';
            END IF;
            IF EXISTS (
                SELECT 1 FROM compliance_auditround o
                WHERE o.id <> NEW.id AND o.scheme_id = NEW.scheme_id AND o.state = 'sealed'
                  AND o.period_from <= NEW.period_to AND o.period_to >= NEW.period_from
                  AND (o.company_id IS NULL OR NEW.company_id IS NULL
                       OR o.company_id = NEW.company_id)
            ) THEN
                RAISE EXCEPTION 'Another round over this period is sealed and not drawn: draw it '
                    'or give it up first, so that nobody chooses among samples.'
                    USING ERRCODE = 'restrict_violation';
            END IF;
        END IF;
        IF OLD.state = 'sealed' AND NEW.state = 'drawn' THEN
            IF NEW.nonce_hex !~ '^([0-9a-f]{2}){16,}$'
                OR encode(sha256(decode(NEW.nonce_hex, 'hex')), 'hex') <> NEW.nonce_commitment
            THEN
                RAISE EXCEPTION 'This is not the nonce that was committed to.'
                    USING ERRCODE = 'restrict_violation';
            END IF;
            IF (SELECT count(*) FROM compliance_drawnjob d WHERE d.round_id = NEW.id)
                <> NEW.sample_size THEN
                RAISE EXCEPTION 'A round is drawn with the very number of jobs of its plan.'
                    USING ERRCODE = 'restrict_violation';
            END IF;
        END IF;
        IF NEW.state = 'given_up' AND NEW.given_up_reason = '' THEN
            RAISE EXCEPTION 'given_up_reason: say why the round is given up.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """,
)

# Of a whole statement at once: a population of a million is written in a few hundred.
POPULATION_BEFORE_ITS_SEAL = pgtrigger.Trigger(
    name="population_before_its_seal",
    when=pgtrigger.After,
    operation=pgtrigger.Insert,
    level=pgtrigger.Statement,
    referencing=pgtrigger.Referencing(new="new_rows"),
    func="""
        IF EXISTS (
            SELECT 1 FROM (SELECT DISTINCT round_id FROM new_rows) n
            JOIN compliance_auditround r ON r.id = n.round_id
            WHERE r.state <> 'committed'
               OR EXISTS (SELECT 1 FROM compliance_populationseal p WHERE p.round_id = r.id)
        ) THEN
            RAISE EXCEPTION 'The population of this round is sealed: no job joins it any more.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NULL;
    """,
)

POPULATION_SEAL_IS_OF_ITS_ROUND = pgtrigger.Trigger(
    name="population_seal_is_of_its_round",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="""
        IF NOT EXISTS (
            SELECT 1 FROM compliance_auditround r WHERE r.id = NEW.round_id
              AND r.state = 'committed' AND r.nonce_commitment = NEW.nonce_commitment
        ) OR NEW.size <> (
            SELECT count(*) FROM compliance_populationjob p WHERE p.round_id = NEW.round_id
        ) THEN
            RAISE EXCEPTION 'A population is sealed whole, while its round is committed.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """,
)

DRAWN_FROM_THE_POPULATION = pgtrigger.Trigger(
    name="drawn_from_the_population",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="""
        IF NOT EXISTS (
            SELECT 1 FROM compliance_populationjob p
            WHERE p.round_id = NEW.round_id AND p.job_id = NEW.job_id AND p.stratum = NEW.stratum
        ) THEN
            RAISE EXCEPTION 'Only jobs of the sealed population are drawn.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        IF NEW.widening_id IS NULL AND NOT EXISTS (
            SELECT 1 FROM compliance_auditround r WHERE r.id = NEW.round_id
              AND r.state = 'sealed' AND NEW.draw_order <= r.sample_size
        ) OR NEW.widening_id IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM compliance_auditwidening w
            JOIN compliance_auditround r ON r.id = w.round_id
            WHERE w.id = NEW.widening_id AND w.round_id = NEW.round_id AND r.state = 'drawn'
              AND NEW.draw_order > w.size_before AND NEW.draw_order <= w.size_after
        ) THEN
            RAISE EXCEPTION 'A sample is drawn once, by its plan; more comes by a widening only.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """,
)

# How much more is no one's choice: as many again as the plan asked for, or what is left.
WIDENED_BY_RULE = pgtrigger.Trigger(
    name="widened_by_rule",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="""
        IF NOT EXISTS (
            SELECT 1 FROM compliance_auditround r WHERE r.id = NEW.round_id
              AND r.state = 'drawn' AND NEW.size_after > NEW.size_before
              AND NEW.size_after <= least(r.population_size, NEW.size_before + r.sample_size)
              AND NEW.size_before = (SELECT count(*) FROM compliance_drawnjob d
                                     WHERE d.round_id = r.id)
              AND NEW.number = 1 + (SELECT count(*) FROM compliance_auditwidening w
                                    WHERE w.round_id = r.id)
        ) THEN
            RAISE EXCEPTION 'A drawn round is widened by as many jobs again, and no others.'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    """,
)

NEVER_DELETED = pgtrigger.Protect(name="audit_round_is_never_deleted", operation=pgtrigger.Delete)
TERMS_STAND = pgtrigger.ReadOnly(name="audit_round_terms_stand", fields=TERMS)
MOVES = pgtrigger.FSM(
    name="audit_round_moves",
    field="state",
    transitions=[
        ("committed", "sealed"),
        ("sealed", "drawn"),
        ("drawn", "closed"),
        ("committed", "given_up"),
        ("sealed", "given_up"),
    ],
)
