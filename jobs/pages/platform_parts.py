"""The platform admin's entries in the header, home and list of what needs a hand."""

from __future__ import annotations

from django.urls import reverse

from jobs.models import Company, Role, Scheme, User
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_home,
    register_navigation,
)

ADMIN = frozenset({Role.PLATFORM_ADMIN})
KEEPERS = ADMIN | {Role.PLANNER}


def platform_attention(user: User) -> list[Attention]:
    """What is missing before a company or scheme can work, each with where it is put right."""
    companies, schemes = Company.objects.all(), Scheme.objects.all()
    planners = companies.without_anyone_as(Role.PLANNER).count()
    officers = companies.without_anyone_as(Role.COMPLIANCE_OFFICER).count()
    idle, empty = companies.without_schemes().count(), schemes.without_companies().count()
    unaudited = schemes.without_auditor().count()
    never = User.objects.visible_to(user).never_signed_in().count()
    company_page, scheme_page = reverse("company_list"), reverse("scheme_list")
    company, scheme = ("company has", "companies have"), ("scheme has", "schemes have")
    accounts = ("open account was", "open accounts were")
    people_page = reverse("people_list")
    return [
        _item(planners, company, "no planner", f"{company_page}?only=no_planner", "now"),
        _item(officers, company, "no compliance officer", f"{company_page}?only=no_officer", "now"),
        _item(idle, company, "no scheme to work under", f"{company_page}?only=no_scheme"),
        _item(empty, scheme, "no company", f"{scheme_page}?only=no_company"),
        _item(unaudited, scheme, "no auditor", f"{scheme_page}?only=no_auditor"),
        _item(never, accounts, "never signed in with", f"{people_page}?state=never", "calm"),
    ]


def _item(
    count: int, words: tuple[str, str], what: str, url: str, urgency: str = "soon"
) -> Attention:
    """`words`: how the sentence begins for one, and for several."""
    return Attention(count, f"{words[0] if count == 1 else words[1]} {what}", url, urgency)


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    for label, url_name, roles, order in (
        ("Platform", "platform_home", ADMIN, 10),
        ("Companies", "company_list", ADMIN, 20),
        ("Schemes", "scheme_list", ADMIN, 30),
        ("People", "people_list", KEEPERS, 65),
    ):
        register_navigation(NavigationItem(label, url_name, roles, order))
    register_home(Role.PLATFORM_ADMIN, "platform_home")
    register_attention(ADMIN, platform_attention)
