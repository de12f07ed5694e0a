"""The demo: an invented company with ten weeks of work. Every name, home and photo is made up."""

from __future__ import annotations

from dataclasses import dataclass

PASSWORD = "slates-and-battens"


@dataclass(frozen=True, slots=True)
class SignIn:
    """Someone the demo lets you sign in as."""

    role: str
    email: str
    password: str
    who: str


SIGN_INS: tuple[SignIn, ...] = tuple(
    SignIn(role, f"{name}@curlew.example", PASSWORD, who)
    for role, name, who in (
        ("planner", "planner", "Orla Finch, plans the crews"),
        ("surveyor", "surveyor", "Tam Swift, measures lofts"),
        ("installer", "wren", "Bryn Wren, leads Crew Wren"),
        ("installer", "heron", "Isla Heron, leads Crew Heron"),
        ("installer", "linnet", "Ewan Linnet, leads Crew Linnet"),
        ("compliance_officer", "compliance", "Maud Plover, answers for the records"),
        ("compliance_officer", "second", "Idris Knot, the second person"),
        ("auditor", "auditor", "Petra Dunlin, audits Warm Roofs Trial"),
        ("platform_admin", "admin", "Platform admin"),
    )
)
