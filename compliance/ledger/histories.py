"""Which tables can be edited, and how the history of their rows becomes facts of the ledger.

Every insert, change and deletion of such a row writes an event: the row as it then was (or, when
it was deleted, had been), who did it, and a hash of from where. A trigger enters the event in the
ledger. So the last event of a row says what it must hold now, and whoever checks compares them.

Words that may tell of a person enter as SHA-256, salted by `compliance_historysalt`. When an
erasure overwrites them in the event, a trigger forgets the salt.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class History:
    """of: the table that is tracked; noun: what a person calls a row; words: hashed columns.

    erasable: an erasure can take the words away.
    """

    of: str
    noun: str
    words: tuple[str, ...] = ()
    erasable: bool = False


# Table of events -> what it is the history of.
HISTORIES: dict[str, History] = {
    "jobs_companyevent": History("jobs_company", "company"),
    "jobs_schemeevent": History("jobs_scheme", "scheme"),
    "jobs_schemecompanyevent": History("jobs_scheme_companies", "company under a scheme"),
    "jobs_userevent": History("jobs_user", "account", ("email", "first_name", "last_name")),
    "jobs_propertyevent": History(
        "jobs_property",
        "home",
        ("householder_name", "householder_phone", "householder_email", "access_notes"),
        erasable=True,
    ),
    "jobs_depotevent": History("jobs_depot", "depot"),
    "jobs_depothoursevent": History("jobs_depothours", "hours of a depot"),
    "jobs_stockitemevent": History("jobs_stockitem", "stock item"),
    "jobs_companyrolltypeevent": History("jobs_companyrolltype", "roll type"),
    "jobs_stockorderevent": History("jobs_stockorder", "order of stock"),
    "jobs_vanevent": History("jobs_van", "van"),
    "jobs_crewevent": History("jobs_crew", "crew"),
    "jobs_operativeevent": History("jobs_operative", "operative", ("name", "card_reference")),
    "jobs_absenceevent": History("jobs_absence", "absence", ("reason", "note")),
    "jobs_jobevent": History("jobs_job", "job", ("called_off_reason",), erasable=True),
    "jobs_surveyevent": History("jobs_survey", "survey", ("access_note", "note"), erasable=True),
    "jobs_loftareaevent": History("jobs_loftarea", "area of a loft"),
    "jobs_obstacleevent": History("jobs_obstacle", "obstacle"),
    "jobs_fixtureevent": History("jobs_fixture", "fixture"),
    "jobs_hazardevent": History("jobs_hazard", "hazard"),
    "jobs_visitneedevent": History("jobs_visitneed", "needed visit", ("note",), erasable=True),
    "jobs_barredcrewevent": History("jobs_visitneed_barred_crews", "crew barred to a visit"),
    "jobs_agreedwindowevent": History("jobs_agreedwindow", "agreed time", ("note",), erasable=True),
    "jobs_visitevent": History("jobs_visit", "visit", ("note", "stop_reason"), erasable=True),
    "jobs_visitoperativeevent": History("jobs_visitoperative", "operative on a visit"),
    "compliance_depthruleevent": History("compliance_depthrule", "depth rule"),
    "compliance_shortfallevent": History("compliance_shortfall", "shortfall"),
    "compliance_auditroundevent": History("compliance_auditround", "audit round"),
    "compliance_retentionperiodevent": History("compliance_retentionperiod", "retention period"),
    "compliance_legalholdevent": History(
        "compliance_legalhold", "legal hold", ("reason", "lifted_because"), erasable=True
    ),
    "compliance_erasurerequestevent": History("compliance_erasurerequest", "erasure asked for"),
}

# Columns of tracked tables that have no history, and why.
UNTRACKED: dict[str, dict[str, str]] = {
    "jobs_user": {
        "password": "a secret; whoever changes it can only sign in, which what they do then shows",
        "last_login": "written at every sign-in, says nothing about the work",
    },
    "jobs_visitoperative": {
        "during": "the visit's own, by a trigger; verifiers compare it with the visit",
        "live": "the visit's own, by a trigger; verifiers compare it with the visit",
    },
}

DELETED = "delete"
"""Label of the event of a row that was deleted."""

NO_SALT = "00000000-0000-0000-0000-000000000000"
NOT_THE_ROW = ("pgh_id", "pgh_context_id", "id")


def salt_of(row: str, kind: str) -> str:
    """SQL for the salt of an event named `row`."""
    return (
        f"coalesce((SELECT s.salt::text FROM compliance_historysalt s WHERE s.kind = '{kind}' "
        f"AND s.fact_id = {row}.pgh_id), '{NO_SALT}')"
    )


def hashed_word(salt: str, row: str, column: str) -> str:
    """SQL for a column of `row` as it enters: hashed with `salt`, which is SQL too."""
    content = f"{salt} || coalesce(to_jsonb({row}) ->> '{column}', '')"
    return f"'sha256:' || encode(sha256(convert_to({content}, 'UTF8')), 'hex')"


def event_expression(row: str, kind: str) -> str:
    """SQL for the fact of an event named `row`, as the trigger would write it today.

    The event's own number is its `id`, that of the row it is of `row_id`. by: who did it.
    context: a hash of who and from where, unguessable without the context's own number.
    """
    apart = ", ".join(f"'{column}'" for column in NOT_THE_ROW)
    words = "".join(
        f", '{column}', {hashed_word(salt_of(row, kind), row, column)}"
        for column in HISTORIES[kind].words
    )
    context = (
        "coalesce((SELECT jsonb_build_object('by', c.metadata -> 'user', 'context', 'sha256:' || "
        "encode(sha256(convert_to(c.id::text || c.metadata::text, 'UTF8')), 'hex')) "
        f"FROM pghistory_context c WHERE c.id = {row}.pgh_context_id), "
        f"jsonb_build_object('by', NULL, 'context', {row}.pgh_context_id))"
    )
    own = f"jsonb_build_object('id', {row}.pgh_id, 'row_id', {row}.id{words})"
    return f"((to_jsonb({row}) - ARRAY[{apart}]) || {context} || {own})"
