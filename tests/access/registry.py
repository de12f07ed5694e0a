"""Which record an argument of an address means in each world, and who sees it there.

An address with an argument that is not here fails the test. Add it to THINGS by the piece of
the route it stands in, or to AT when one address needs a record of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.apps import apps

from tests.access.addresses import PLACEHOLDER, Address
from tests.access.worlds import WORLDS, World
from tests.factories import A_MONDAY

Eyes = dict[str, frozenset[str]]

A_COMPANY = frozenset({"own", "other_crew", "other_scheme"})
A_SCHEME = frozenset({"own", "other_crew", "other_company"})
OFFICE: Eyes = dict.fromkeys(("planner", "surveyor", "compliance_officer"), A_COMPANY)
OF_COMPANY: Eyes = OFFICE
OF_JOB: Eyes = {**OFFICE, "installer": frozenset({"own"}), "auditor": A_SCHEME}
# An auditor sees the jobs of sealed populations: the fitted one of each world of its scheme, and
# none of those that are surveyed, booked or short.
OF_OTHER_JOB: Eyes = {**OFFICE, "installer": frozenset({"own"})}
OF_ROUND: Eyes = {"auditor": A_SCHEME}
OF_FINDING: Eyes = {"auditor": A_SCHEME, "planner": A_COMPANY, "compliance_officer": A_COMPANY}
OF_OPENINGS: Eyes = {"planner": A_COMPANY, "compliance_officer": A_COMPANY}
OF_PLATFORM: Eyes = {"platform_admin": frozenset(WORLDS)}
OF_PEOPLE: Eyes = {**OF_PLATFORM, "planner": A_COMPANY}
OF_SCHEME: Eyes = {
    **OFFICE,
    **OF_PLATFORM,
    "installer": frozenset({"own", "other_crew"}),
    "auditor": frozenset({"own", "other_crew"}),
}
OF_SENDER: Eyes = {"installer": frozenset({"own"})}
OF_LOAD: Eyes = {"planner": A_COMPANY, "installer": frozenset({"own"})}
OF_ALL: Eyes = dict.fromkeys((*OF_JOB, "platform_admin"), frozenset(WORLDS))


@dataclass(frozen=True)
class Thing:
    """What stands in an address. `eyes` is None for a plain value that names no record."""

    of: Callable[[World], object]
    eyes: Eyes | None = None
    missing: str = "2000000000"

    def seen_by(self, role: str, world: str) -> bool:
        return self.eyes is None or world in self.eyes.get(role, ())


def record(name: str, eyes: Eyes, attribute: str = "pk", missing: str = "2000000000") -> Thing:
    return Thing(lambda world: getattr(getattr(world, name), attribute), eyes, missing)


def value(text: object) -> Thing:
    return Thing(lambda world: text)


# A well-formed code that no certificate has.
NO_CODE = "3333-3333-3333"

# A well-formed token that opens no calendar.
NO_TOKEN = "n" * 43

# By the end of the route up to the argument; the longest that fits is taken.
THINGS: dict[str, Thing] = {
    "jobs/<pk>": record("job", OF_JOB),
    "properties/<pk>": record("home", OF_JOB),
    "companies/<pk>": record("company", OF_PEOPLE),
    "people/<pk>": Thing(lambda world: world.people["installer"].pk, OF_PEOPLE),
    "schemes/<pk>": record("marked_scheme", OF_SCHEME),
    "crews/<pk>": record("crew", OF_COMPANY),
    "vans/<pk>": record("van", OF_COMPANY),
    "operatives/<pk>": record("operative", OF_COMPANY),
    "intake/<pk>": record("batch", OF_COMPANY),
    "intake-batches/<pk>": record("batch", OF_COMPANY),
    "visits/<pk>": record("booked_visit", OF_OTHER_JOB),
    "send-along/<pk>": record("booked_visit", OF_COMPANY),
    "visit-needs/<pk>": record("need", OF_COMPANY),
    "needs/<pk>": record("need", OF_COMPANY),
    "windows/<pk>": record("window", OF_COMPANY),
    "agreed-windows/<pk>": record("window", OF_COMPANY),
    "absences/<pk>": record("absence", OF_COMPANY),
    "plan-runs/<pk>": record("run", OF_COMPANY),
    "office-prices/<pk>": record("prices", OF_COMPANY),
    "runs/<pk>": record("run", OF_COMPANY),
    "proposed-visits/<pk>": record("proposal", OF_COMPANY),
    "surveys/<pk>": record("survey", OF_JOB),
    "layer-plans/<pk>": record("plan", OF_OTHER_JOB),
    "depots/<pk>": record("depot", OF_COMPANY),
    "stock-items/<pk>": record("stock_item", OF_COMPANY),
    "roll-types/<pk>": record("roll_type", OF_COMPANY),
    "stock-orders/<pk>": record("stock_order", OF_COMPANY),
    "stock-movements/<pk>": record("movement", OF_COMPANY),
    "van-loadings/<pk>": record("loading", OF_LOAD),
    "rounds/<crew_pk>": record("crew", OF_LOAD),
    "rounds/<crew_pk>/<day>": value(A_MONDAY.date().isoformat()),
    "calendars/<token>": Thing(lambda world: world.calendar_token, OF_ALL, NO_TOKEN),
    "load-lists/<crew_pk>": record("crew", OF_LOAD),
    "load-lists/<crew_pk>/<day>": value(A_MONDAY.date().isoformat()),
    "readings/<reading_pk>": record("reading", OF_OTHER_JOB),
    "depth-readings/<pk>": record("reading", OF_OTHER_JOB),
    "pre-start-checks/<pk>": record("check", OF_JOB),
    "arrivals/<pk>": record("arrival", OF_JOB),
    "work-steps/<pk>": record("work_step", OF_JOB),
    "variations/<pk>": record("variation", OF_JOB),
    "stop-works/<pk>": record("stop", OF_JOB),
    "leaves/<pk>": record("leave", OF_JOB),
    "work/<step>": value("eaves"),
    "photos/<pk>": record("photo", OF_JOB),
    "photos/<pk>/<size>": value("original"),
    "uploads/<key>": record("upload", OF_SENDER, missing="00000000-0000-4000-8000-000000000000"),
    "handovers/<pk>": record("handover", OF_JOB),
    "assessments/<pk>": record("assessment", OF_JOB),
    "assessments/<number>": value(1),
    "shortfalls/<pk>": record("shortfall", OF_OTHER_JOB),
    "waivers/<pk>": record("waiver", OF_OTHER_JOB),
    "certificates/<code>": record("certificate", OF_JOB, "code", NO_CODE),
    "issue-runs/<pk>": record("issue_run", OF_COMPANY),
    "check/keys/<fingerprint>": record("certificate", OF_ALL, "key_fingerprint", "0" * 64),
    "check/<code>": record("certificate", OF_ALL, "code", NO_CODE),
    "rules/<pk>": record("rule", OF_ALL),
    "depth-rules/<pk>": record("rule", OF_ALL),
    "seals/<pk>": record("seal", OF_ALL),
    "entries/<pk>": record("entry", OF_JOB),
    "facts/<kind>": value("jobs_photo"),
    "facts/<kind>/<pk>": record("photo", OF_JOB),
    "rounds/<pk>": record("round", OF_ROUND),
    "pictures/<picture>": value("crews"),
    "audit-rounds/<pk>": record("round", OF_ROUND),
    "series/<pk>": record("series", OF_ROUND),
    "audit-series/<pk>": record("series", OF_ROUND),
    "asked/<pk>": record("follow_up", OF_FINDING),
    "draws/<pk>": record("round", OF_OPENINGS),
    "audit-follow-ups/<pk>": record("follow_up", OF_FINDING),
    "drawn/<pk>": record("drawn", OF_ROUND),
    "drawn-jobs/<pk>": record("drawn", OF_ROUND),
    "findings/<pk>": record("finding", OF_FINDING),
    "finding-answers/<pk>": record("answer", OF_FINDING),
    "finding-replies/<pk>": record("reply", OF_FINDING),
    "files/<pk>": record("answer_file", OF_FINDING),
    "files/<pk>/<size>": value("original"),
    "drafts/<pk>": record("finding_draft", OF_ROUND),
    "finding-drafts/<pk>": record("finding_draft", OF_ROUND),
    "job-reads/<pk>": record("job_read", OF_ROUND),
    "remeasurements/<pk>": record("remeasurement", OF_ROUND),
    "template.<kind>": value("csv"),
    "to-mend.<kind>": value("csv"),
    "map/<day>": value(A_MONDAY.date().isoformat()),
    "week/<day>": value(A_MONDAY.date().isoformat()),
    "layers/<number>": value(1),
    "photos/<moment>": value("before"),
    "key/<uidb36>": value("1"),
    "key/<uidb36>-<key>": value("none"),
    "address/confirm/<key>": value("none"),
}

# Where the address works on a record in another state than the one of THINGS.
AT: dict[tuple[str, str], Thing] = {
    ("/jobs/<pk>/survey/", "pk"): record("draft_job", OF_OTHER_JOB),
    ("/jobs/<pk>/survey/sketch/", "pk"): record("draft_job", OF_OTHER_JOB),
    ("/jobs/<pk>/book/", "pk"): record("draft_job", OF_OTHER_JOB),
    ("/jobs/<pk>/quantify/", "pk"): record("booked_job", OF_OTHER_JOB),
}

# Lists of the API: the model whose ids they give, and who sees which.
LISTS: dict[str, tuple[str, Eyes]] = {
    "companies": ("Company", OF_PLATFORM),
    "people": ("User", OF_PEOPLE),
    "schemes": ("Scheme", OF_SCHEME),
    "properties": ("Property", OF_JOB),
    "jobs": ("Job", OF_JOB),
    "vans": ("Van", OF_COMPANY),
    "crews": ("Crew", OF_COMPANY),
    "operatives": ("Operative", OF_COMPANY),
    "visits": ("Visit", OF_JOB),
    "visit-needs": ("VisitNeed", OF_COMPANY),
    "agreed-windows": ("AgreedWindow", OF_COMPANY),
    "absences": ("Absence", OF_COMPANY),
    "plan-runs": ("PlanRun", OF_COMPANY),
    "office-prices": ("OfficePrices", OF_COMPANY),
    "proposed-visits": ("ProposedVisit", OF_COMPANY),
    "depots": ("Depot", OF_COMPANY),
    "stock-items": ("StockItem", OF_COMPANY),
    "roll-types": ("CompanyRollType", OF_COMPANY),
    "stock-movements": ("StockMovement", OF_COMPANY),
    "stock-orders": ("StockOrder", OF_COMPANY),
    "van-loadings": ("VanLoading", OF_LOAD),
    "intake-batches": ("IntakeBatch", OF_COMPANY),
    "surveys": ("Survey", OF_JOB),
    "layer-plans": ("LayerPlan", OF_OTHER_JOB),
    "pre-start-checks": ("PreStartCheck", OF_JOB),
    "arrivals": ("Arrival", OF_JOB),
    "work-steps": ("WorkStep", OF_JOB),
    "variations": ("Variation", OF_JOB),
    "stop-works": ("StopWork", OF_JOB),
    "leaves": ("Leave", OF_JOB),
    "photos": ("Photo", OF_JOB),
    "depth-readings": ("DepthReading", OF_JOB),
    "handovers": ("Handover", OF_JOB),
    "depth-rules": ("DepthRule", OF_ALL),
    "assessments": ("Assessment", OF_JOB),
    "shortfalls": ("Shortfall", OF_OTHER_JOB),
    "waivers": ("Waiver", OF_OTHER_JOB),
    "certificates": ("Certificate", OF_JOB),
    "issue-runs": ("IssueRun", OF_COMPANY),
    "ledger/seals": ("Seal", OF_ALL),
    "audit-rounds": ("AuditRound", OF_ROUND),
    "drawn-jobs": ("DrawnJob", OF_ROUND),
    "findings": ("Finding", OF_FINDING),
    "audit-follow-ups": ("AuditFollowUp", OF_FINDING),
    "audit-series": ("SwitchingStep", OF_ROUND),
    "finding-answers": ("FindingAnswer", OF_FINDING),
    "finding-replies": ("FindingReply", OF_FINDING),
    "finding-drafts": ("FindingDraft", OF_ROUND),
    "job-reads": ("JobRead", OF_ROUND),
    "remeasurements": ("Remeasurement", OF_ROUND),
    "evidence-openings": ("EvidenceAccess", OF_OPENINGS),
}

# Addresses that anybody may open, by their names, each with the reason.
OPEN = {
    "on_site_worker": "the script that keeps on-site pages; the same for everybody",
    "on_site_phone": "tells a phone who is signed in, or that nobody is",
    "on_site_no_signal": "words for a phone without signal; names nobody",
    "health": "asked by machines; tells only whether servers answer",
    "account_login": "signing in",
    "account_logout": "signing out",
    "account_signup": "closed by the adapter; the sign-in page needs its address",
    "account_inactive": "tells a person whose sign-in was taken away",
    "account_reauthenticate": "asks a signed-in person for the password again",
    "account_address_confirm": "a new address, by the key that was mailed and the password",
    "account_change_password": "a signed-in person's own password",
    "account_set_password": "a signed-in person's own password",
    "account_reset_password": "a forgotten password",
    "account_reset_password_done": "a forgotten password",
    "account_reset_password_from_key": "a forgotten password, by the key that was mailed",
    "account_reset_password_from_key_done": "a forgotten password",
    "api_schema": "the description of the API, the same for everybody",
    "api_docs": "the description of the API, the same for everybody",
    "api_token": "signing in to the API",
    "api_seal-list": "Seals are there to be kept by anybody; they name nobody",
    "api_seal-detail": "Seals are there to be kept by anybody; they name nobody",
    "api_consistency": "proofs between Seals, which name nobody",
    "ledger_key": "the public key of the Seals",
    "seal_file": "a Seal to keep; it names nobody",
    "calendar_feed": "calendar programs have no account; its token of 256 random bits is the key",
    "check": "the householder's check of a certificate; no account",
    "check_key": "the public certificate of a key that signs certificates; names nobody",
    "check_certificate": "the householder's check of a certificate; names no person and no home",
}


# Open to who knows the secret in them: they tell of the world whose secret it is.
BY_SECRET = {"calendar_feed"}

# The platform admin answers for the depth rules, and is told who proposed one.
# It keeps every company, scheme and account.
KEPT_BY_ADMIN = (
    "company_list",
    "company",
    "company_edits",
    "scheme_list",
    "scheme",
    "scheme_edits",
    "scheme_new",
    "people_list",
    "person",
    "person_new",
    "person_edits",
    "person_address",
    "api_company-list",
    "api_company-detail",
    "api_scheme-list",
    "api_scheme-detail",
    "api_person-list",
    "api_person-detail",
    "api_person-invitation",
    "api_person-address",
)
TOLD_BY_OFFICE = {(name, "platform_admin") for name in ("rule_list", "rule_edits", *KEPT_BY_ADMIN)}


class Unknown(LookupError):
    """An argument that the registry has no record for."""


def list_at(address: Address) -> tuple[Any, Eyes]:
    """The model a list of the API is of, and who sees which world's.

    Raises Unknown, saying what to do, when nobody said.
    """
    area = address.route.removeprefix("/api/v1/").removesuffix("/")
    if area not in LISTS:
        raise Unknown(
            f"{address}: nobody said what this list is of. Add {area!r} to LISTS in "
            "tests/access/registry.py, with its model and who sees it."
        )
    name, eyes = LISTS[area]
    return next(model for model in apps.get_models() if model.__name__ == name), eyes


def thing_at(address: Address, argument: str) -> Thing:
    """Raises Unknown, saying what to do, when nobody said what the argument means."""
    special = AT.get((address.route, argument))
    if special is not None:
        return special
    until = address.route[: address.route.index(f"<{argument}>") + len(argument) + 2]
    fitting = [end for end in THINGS if until.endswith(f"/{end}")]
    if not fitting:
        raise Unknown(
            f"{address.route}: nobody said what <{argument}> means. Add "
            f"{'/'.join(until.split('/')[-2:])!r} to THINGS in tests/access/registry.py, with the "
            "record of each world it names and who sees it; build the record in "
            "tests/access/worlds.py if there is none."
        )
    return THINGS[max(fitting, key=len)]


def things_at(address: Address) -> dict[str, Thing]:
    return {argument: thing_at(address, argument) for argument in address.arguments}


def names_records(address: Address) -> bool:
    return any(thing.eyes is not None for thing in things_at(address).values())


def url_with(address: Address, arguments: dict[str, object]) -> str:
    return PLACEHOLDER.sub(lambda found: str(arguments[found[1]]), address.route)


def url_in(address: Address, world: World) -> str:
    """The address of a record of this world."""
    return url_with(address, {a: thing.of(world) for a, thing in things_at(address).items()})


def url_of_nothing(address: Address, any_world: World) -> str:
    """The address of a record that does not exist."""
    given: dict[str, Any] = {
        argument: thing.missing if thing.eyes is not None else thing.of(any_world)
        for argument, thing in things_at(address).items()
    }
    return url_with(address, given)


def sees(address: Address, role: str, world: str) -> bool:
    """Whether every record the address names in this world is one of this person's."""
    return all(thing.seen_by(role, world) for thing in things_at(address).values())
