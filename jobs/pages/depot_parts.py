"""What depots and roll types add to the header and to the planner's list of what needs a hand."""

from __future__ import annotations

from django.urls import reverse
from django.utils import timezone

from jobs.catalogues import has_own_roll_types
from jobs.loading.standing import urgent_count
from jobs.models import Job, Role, User
from jobs.pages.registry import (
    Attention,
    NavigationItem,
    register_attention,
    register_navigation,
)


def stock_attention(user: User) -> list[Attention]:
    short, late = urgent_count(user, timezone.localdate())
    runs = "item runs out at a depot" if short == 1 else "items run out at a depot"
    never = "order for a depot never came" if late == 1 else "orders for a depot never came"
    return [
        Attention(short, f"{runs} before booked visits have theirs", reverse("depot_list")),
        Attention(late, never, reverse("depot_list")),
    ]


def roll_attention(user: User) -> list[Attention]:
    """Told, from the first open job on, until the company has a roll type of its own in use."""
    invented = not has_own_roll_types(user.company_id)
    waits = invented and Job.objects.visible_to(user).open().exists()
    sentence = "list of rolls is invented: lofts are planned with it until you enter your own"
    return [Attention(int(waits), sentence, reverse("roll_type_list"))]


def register() -> None:
    readers = frozenset({Role.PLANNER, Role.SURVEYOR})
    register_navigation(NavigationItem("Depots", "depot_list", readers, 62))
    register_navigation(NavigationItem("Rolls", "roll_type_list", readers, 63))
    register_attention(frozenset({Role.PLANNER}), stock_attention)
    register_attention(frozenset({Role.PLANNER}), roll_attention)
