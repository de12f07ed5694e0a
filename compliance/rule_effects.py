"""What a run for a rule found, as one person may be told it: others' companies only as numbers."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from compliance.models import Assessment, DepthRule, RuleRun
from compliance.rule_runs import changes_by_company, planned_shallower, tally
from jobs.models import Role, User

OTHERS = "Other companies"


@dataclass(frozen=True, slots=True)
class Change:
    """So many jobs of a company go from one verdict to another."""

    company: str
    before: str
    after: str
    jobs: int


@dataclass(frozen=True, slots=True)
class Effects:
    """run: the newest one, or None before any. by_company: what it changes, while it may still
    run. planned: jobs not fitted yet, by company, whose plan lays less than the rule asks.
    """

    run: RuleRun | None
    looked_at: int
    changing: int
    by_company: tuple[Change, ...]
    planned: tuple[tuple[str, int], ...]

    @property
    def is_past(self) -> bool:
        """Whether it came about: lofts were judged anew. False of what a preview worked out."""
        return self.run is None or self.run.kind == RuleRun.Kind.REASSESSMENT

    @property
    def stricter(self) -> int:
        """Jobs that meet today and would not."""
        return sum(change.jobs for change in self.by_company if change.before == "meets")

    @property
    def planned_jobs(self) -> int:
        return sum(jobs for _, jobs in self.planned)


def effects_of(rule: DepthRule, user: User) -> Effects:
    run = RuleRun.objects.filter(rule=rule).first()
    found = tally(run) if run else Counter()
    return Effects(
        run=run,
        looked_at=found.total(),
        changing=sum(jobs for (before, after), jobs in found.items() if before != after),
        by_company=_changes(run, user) if run else (),
        planned=_planned(rule, user) if rule.approved_at is None else (),
    )


def _changes(run: RuleRun, user: User) -> tuple[Change, ...]:
    counts: Counter[tuple[str, str, str]] = Counter()
    for row in changes_by_company(run):
        company = _named(row["job__company_id"], row["job__company__name"], user)
        counts[company, row["before"], row["after"]] += row["jobs"]
    order = {verdict: n for n, verdict in enumerate(Assessment.Verdict.values)}
    keys = sorted(counts, key=lambda key: (key[0] == OTHERS, key[0], order.get(key[1], 9), key[2]))
    return tuple(Change(*key, counts[key]) for key in keys)


def _planned(rule: DepthRule, user: User) -> tuple[tuple[str, int], ...]:
    rows = planned_shallower(rule).order_by().values_list("company_id", "company__name")
    counts = Counter(_named(company, name, user) for company, name in rows)
    return tuple(sorted(counts.items()))


def _named(company_id: int, name: str, user: User) -> str:
    own = user.company_id == company_id
    return name if own or user.role == Role.PLATFORM_ADMIN else OTHERS
