"""The report of an audit round: what was asked, how it was drawn, what was found, what follows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.utils import timezone

from calculations.charts import Cell, Table
from compliance.audits.outcome import Outcome, acceptance_plan, outcome_of
from compliance.audits.pictures import Picture, pictures_for
from compliance.audits.planning import company_risk_words
from compliance.audits.report_parts import findings_by_class, follow_ups, sample_rows
from compliance.audits.rounds import repeat_agrees, repeat_command
from compliance.audits.strata import sealed_strata, strata_now
from compliance.certificates.key_records import keep_key
from compliance.certificates.signing import AS_REPORT, sign_pdf, signing_key
from compliance.models import AuditRound, Seal
from jobs.errors import Conflict
from jobs.models import User
from jobs.papers.typesetting import typeset, with_packaged_font

TEMPLATE = Path(__file__).parent / "report.typ"
METHODS = {
    "hypergeometric": "exact for this population (hypergeometric)",
    "clopper_pearson": "Clopper and Pearson",
    "stratified": "strata weighted by their jobs",
    "korn_graubard": "strata weighted by their jobs; Korn and Graubard",
}
DRAWN = (AuditRound.State.DRAWN, AuditRound.State.CLOSED)


def report_pdf(
    record: AuditRound,
    user: User | Any,
    *,
    made_at: datetime,
    pictures: Sequence[Picture] | None = None,
) -> bytes:
    """A tagged PDF of the round as this person may see it, signed as certificates are (PAdES).

    The same round gives the same bytes by a key in a file; a device signs anew each time.
    pictures: those of this round for this person, where they are drawn already.

    Raises:
        Conflict: the round is not drawn yet.
    """
    key = signing_key()
    contents = report_contents(record, user, pictures) | {"key": key.fingerprint}
    pdf = typeset(TEMPLATE, contents, made_at=timezone.localtime(made_at))
    keep_key(key)
    return sign_pdf(pdf, made_at, key, reason=AS_REPORT)


def report_contents(
    record: AuditRound, user: User | Any, pictures: Sequence[Picture] | None = None
) -> dict[str, Any]:
    """Words, figures and drawings of the report, and nothing personal: no name of a household,
    no address. Raises Conflict for a round that is not drawn."""
    if record.state not in DRAWN or record.seal is None:
        raise Conflict("There is a report once the sample is drawn.")
    outcome = outcome_of(record)
    rows, note = sample_rows(record)
    followed, followed_note = follow_ups(record, user)
    drawn = pictures_for(user, record) if pictures is None else pictures
    return {
        "company": record.scheme.name,
        "invented": any(c.is_invented for c in record.scheme.companies.all()),
        "name": record.name,
        "scheme": record.scheme.name,
        "state": record.get_state_display(),
        "lead": _lead(outcome),
        "interim": f"{outcome.unread} drawn jobs are still to be read: this report is not final."
        if outcome.unread
        else "",
        "accepted": outcome.accepted,
        "figures": _figures(record, outcome),
        "asked": _asked(record),
        "population": _population(record),
        "plan": _plan(record),
        "strata": _strata(record),
        "draw": _draw(record),
        "widenings": [
            f"Widened from {w.size_before} to {w.size_after} jobs on {_day(w.made_at)}: {w.reason}"
            for w in record.widenings.all()
        ],
        "command": repeat_command(record),
        "sample": rows,
        "sample_note": note,
        "findings": findings_by_class(record, user),
        "rates": _rates(outcome),
        "estimate": _estimate(outcome),
        "by_stratum": [[s.name, s.population, s.sample, s.defects] for s in outcome.strata],
        "pictures": [_picture(p) for p in drawn],
        "follows": [outcome.what_follows, *_next_inspection(outcome)],
        "follow_ups": followed,
        "follow_ups_note": followed_note,
        "seals": _seals(record.seal),
    }


def _lead(outcome: Outcome) -> str:
    if outcome.accepted is None:
        return "Not decided yet."
    said = "Accepted" if outcome.accepted else "Not accepted"
    defective, by_weight = outcome.first.defective, ""
    if outcome.counted != defective:
        by_weight = f" (counted by weight: {outcome.counted})"
    return (
        f"{said}: {defective} defective of {outcome.first.drawn} jobs drawn{by_weight}, where "
        f"{outcome.accept_at_most} {'is' if outcome.accept_at_most == 1 else 'are'} allowed"
        + (", but none that is critical." if outcome.rejects_as_critical else ".")
    )


def _figures(record: AuditRound, outcome: Outcome) -> list[list[str]]:
    limits = outcome.limits
    return [
        [f"{record.population_size:,}", "jobs in the population"],
        [f"{outcome.drawn:,}", "jobs drawn"],
        [f"{outcome.read:,}", "jobs read"],
        [f"{outcome.defective:,}", "jobs defective"],
        [_percent(limits.estimate) if limits else "–", "defective, estimated"],
    ]


def _asked(record: AuditRound) -> list[list[str]]:
    where = [record.get_nation_display()] if record.nation else []
    where += [f"postcode areas {', '.join(record.postcode_areas)}"] if record.postcode_areas else []
    return [
        ["Scheme", record.scheme.name],
        ["Certified", f"{_day(record.period_from)} to {_day(record.period_to)}"],
        ["Company", str(record.company or "all companies of the scheme")],
        ["Crew", str(record.crew or "all crews")],
        ["Region", ", ".join(where) or "everywhere"],
        ["Auditor", str(record.auditor)],
        ["Begun", _moment(record.created_at)],
        ["State", f"{record.get_state_display()}" + _since(record.closed_at)],
    ]


def _population(record: AuditRound) -> list[list[str]]:
    assert record.seal is not None
    return [
        ["Jobs", f"{record.population_size:,}, in the order of their numbers"],
        ["SHA-256 of the list", record.population_sha256],
        ["Written down", _moment(record.population_seal.sealed_at)],
        ["Under Seal", f"{record.seal.pk}, of {_moment(record.seal.made_at)}"],
        ["Root of the Seal", record.seal.root_hex],
    ]


def _plan(record: AuditRound) -> list[list[str]]:
    if record.plan == AuditRound.Plan.CONFIDENCE:
        return [
            ["Plan", record.get_plan_display()],
            [
                "Asked",
                f"{record.confidence:.1%} sure that no more than {record.defective_share:.1%} of "
                f"the population are defective, if none of the sample is",
            ],
            ["Sample", f"{record.sample_size} jobs"],
            ["Strata", _strata_words(record)],
        ]
    plan = acceptance_plan(record)
    return [
        ["Plan", record.get_plan_display()],
        ["Level and AQL", f"level {record.level}, AQL {record.aql:g} per cent"],
        ["Code letter", plan.code_letter],
        ["Inspection", record.get_severity_display()],
        ["Why so", record.severity_reason or "The first round of its series."],
        ["Sample", f"{record.sample_size} jobs; accept on {plan.accept}, reject on {plan.reject}"],
        ["Strata", _strata_words(record)],
        *(["The company’s risk", words] for words in [company_risk_words(record)] if words),
    ]


def _strata_words(record: AuditRound) -> str:
    if not record.strata_by:
        return "none: one draw over all jobs"
    shared = record.get_allocation_display().lower()
    return f"by {record.get_strata_by_display().lower()}, shared out {shared}"


def _strata(record: AuditRound) -> list[list[Cell]]:
    """Name, jobs, risk, drawn at first, drawn now, weight now; empty without strata."""
    first = sealed_strata(record)
    if len(first) < 2:
        return []
    return [
        [s.name, s.population, round(s.risk, 2), s.sample, now.sample, round(now.weight, 2)]
        for s, now in zip(first, strata_now(record), strict=True)
    ]


def _draw(record: AuditRound) -> list[list[str]]:
    agrees = repeat_agrees(record)
    return [
        ["Committed to", record.nonce_commitment],
        ["Nonce, shown", record.nonce_hex],
        ["Drawn", _moment(record.drawn_at)],
        [
            "Repeated",
            "for this report, from nonce, Seal and list: the same jobs"
            if agrees
            else "for this report: IT DOES NOT GIVE THE STORED SAMPLE. Do not use it.",
        ],
    ]


def _rates(outcome: Outcome) -> list[list[str]]:
    found = [
        ("Whole population, estimated", outcome.limits),
        ("Sample, exact for this population", outcome.finite),
        ("Sample, as if without end", outcome.binomial),
    ]
    return [
        [what, _percent(one.estimate), _percent(one.low), _percent(one.high), _method(one.method)]
        for what, one in found
        if one is not None
    ]


def _estimate(outcome: Outcome) -> str:
    if outcome.defective_jobs is None:
        return "There is no estimate as long as a stratum is unread."
    least, about, most = outcome.defective_jobs
    return (
        f"Of the {outcome.population:,} jobs of the population about {about:,} are defective; with "
        f"95% confidence at least {least:,} and at most {most:,}."
    )


def _next_inspection(outcome: Outcome) -> list[str]:
    if outcome.next_inspection is None:
        return []
    return [f"The next round of this series: {outcome.next_inspection.why}"]


def _picture(picture: Picture) -> dict[str, Any]:
    start = picture.svg.index("<desc")
    told = picture.svg[picture.svg.index(">", start) + 1 : picture.svg.index("</desc>")]
    return {
        "title": picture.title,
        "svg": with_packaged_font(picture.svg),
        "alt": f"{picture.title}. {told}",
        "note": picture.note,
        "tall": picture.is_tall,
        **_table(picture.table),
    }


def _table(table: Table) -> dict[str, Any]:
    return {
        "columns": [name[:1].upper() + name[1:] for name in table.columns],
        "rows": [_said(row) for row in table.rows],
    }


def _said(row: Iterable[Cell]) -> list[str]:
    return ["" if cell is None else f"{cell:g}" if _is_number(cell) else str(cell) for cell in row]


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, float)


def _seals(of_population: Seal) -> list[dict[str, Any]]:
    """The Seal that the draw used, and the newest one, which covers what was found since."""
    newest = Seal.objects.latest("tree_size", "id")
    named = {of_population.pk: (of_population, "fixed the population")}
    named.setdefault(newest.pk, (newest, "the newest when this report was made"))
    return [
        {
            "what": f"Seal {seal.pk}: {words}",
            "facts": [
                ["Made", _moment(seal.made_at)],
                ["Entries", f"{seal.tree_size:,}"],
                ["Root", bytes(seal.root_hash).hex()],
                ["Public key", bytes(seal.public_key).hex()],
                ["Signature", bytes(seal.signature).hex()],
            ],
        }
        for seal, words in named.values()
    ]


def _method(name: str) -> str:
    return METHODS.get(name, name.replace("_", " "))


def _percent(share: float) -> str:
    return f"{share * 100:.1f}%"


def _day(when: date | datetime | None) -> str:
    if when is None:
        return ""
    day = timezone.localtime(when) if isinstance(when, datetime) else when
    return f"{day.day} {day:%b %Y}"


def _moment(when: datetime | None) -> str:
    return "" if when is None else f"{_day(when)}, {timezone.localtime(when):%H:%M}"


def _since(when: datetime | None) -> str:
    return f", {_moment(when)}" if when else ""
