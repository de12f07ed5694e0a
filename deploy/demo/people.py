"""The invented company: its people, crews, vans and schemes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from deploy.demo import PASSWORD, SIGN_INS
from jobs.models import Company, Crew, Operative, Role, Scheme, User, Van

CREW_NATIONS = {
    "Crew Wren": ("england",),
    "Crew Heron": ("england", "wales"),
    "Crew Linnet": ("scotland",),
}
SURVEY_CREW = "Survey Swift"
BASES = {
    "Crew Wren": ("LE1 1QZ", 52.634, -1.131),
    "Crew Heron": ("SY1 2QZ", 52.708, -2.754),
    "Crew Linnet": ("EH11 3QZ", 55.939, -3.236),
    SURVEY_CREW: ("LE1 1QZ", 52.634, -1.131),
}
SECOND_HANDS = {
    "Crew Wren": ("Kit Sedge", ["insulation", "asbestos_awareness"]),
    "Crew Heron": ("Moss Hale", ["insulation", "raised_deck", "surveying"]),
    "Crew Linnet": ("Una Reed", ["insulation", "electrical", "surveying"]),
}


@dataclass(frozen=True, slots=True)
class Cast:
    """Everybody the story needs, by the names it calls them."""

    company: Company
    schemes: tuple[Scheme, ...]
    people: dict[str, User]
    crews: dict[str, Crew]

    def lead_of(self, crew: str) -> User:
        return self.people[crew.removeprefix("Crew ").lower()]


def make_cast(today: date) -> Cast:
    company = Company.objects.create(
        name="Curlew Lofts (invented company)",
        slug="curlew-lofts",
        is_invented=True,
        office_phone="01632 960 001",  # of the numbers that belong to nobody, kept for fiction
    )
    schemes = tuple(
        Scheme.objects.create(
            name=f"{name} (invented scheme)",
            code=code,
            starts_on=today - timedelta(days=200),
            ends_on=today + timedelta(days=400),
            remedy_weeks=weeks,
        )
        for name, code, weeks in (
            ("Warm Roofs Trial", "warm-roofs", 8),
            ("Community Homes Round", "community-homes", 6),
            ("Highland and Glens Lofts", "highland-glens", 8),
        )
    )
    company.schemes.set(schemes)
    people = {
        sign_in.email.split("@")[0]: _person(sign_in, company, schemes[0]) for sign_in in SIGN_INS
    }
    return Cast(company, schemes, people, _crews(company, people))


def _person(sign_in: object, company: Company, scheme: Scheme) -> User:
    role = sign_in.role  # type: ignore[attr-defined]
    first, _, last = sign_in.who.split(",")[0].partition(" ")  # type: ignore[attr-defined]
    in_company = role not in (Role.AUDITOR, Role.PLATFORM_ADMIN)
    return User.objects.create_user(
        sign_in.email,  # type: ignore[attr-defined]
        PASSWORD,
        first_name=first,
        last_name=last,
        role=role,
        company=company if in_company else None,
        scheme=scheme if role == Role.AUDITOR else None,
    )


def _crews(company: Company, people: dict[str, User]) -> dict[str, Crew]:
    crews = {}
    for name, (postcode, latitude, longitude) in BASES.items():
        van = Van.objects.create(
            company=company,
            name=f"Van {name.split()[-1]}",
            load_volume_m3=4.0 if name == SURVEY_CREW else 11.0,
        )
        crews[name] = Crew.objects.create(
            company=company,
            name=name,
            van=van,
            base_postcode=postcode,
            base_latitude_deg=latitude,
            base_longitude_deg=longitude,
        )
        _operatives(company, crews[name], people)
    return crews


def _operatives(company: Company, crew: Crew, people: dict[str, User]) -> None:
    if crew.name == SURVEY_CREW:
        user = people["surveyor"]
        Operative.objects.create(
            company=company, crew=crew, user=user, name=str(user), skills=["surveying"],
            leads_crew=True,
        )  # fmt: skip
        return
    lead = people[crew.name.removeprefix("Crew ").lower()]
    Operative.objects.create(
        company=company, crew=crew, user=lead, name=str(lead), leads_crew=True,
        skills=["insulation", "asbestos_awareness"], card_reference=f"INV-{crew.pk:03d}-1",
    )  # fmt: skip
    name, skills = SECOND_HANDS[crew.name]
    Operative.objects.create(
        company=company, crew=crew, name=name, skills=skills, card_reference=f"INV-{crew.pk:03d}-2"
    )
