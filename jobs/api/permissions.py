"""Who may use an endpoint, declared on the view as `read_roles` and `write_roles`."""

from __future__ import annotations

from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.permissions import SAFE_METHODS, IsAuthenticated
from rest_framework.request import Request


class ByRole(IsAuthenticated):
    """Signed in, with a role the view names.

    A role that may neither read nor write gets a 404, as if the address did not exist; one
    that may read but tries to write gets a 403. Which objects are seen is the queryset's
    `visible_to`, so that others' objects are a 404 too. A view without the two attributes
    fails loudly: access is always a decision.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        if not super().has_permission(request, view):
            return False
        role = request.user.role
        if role not in view.read_roles and role not in view.write_roles:
            raise NotFound
        if request.method in SAFE_METHODS:
            return role in view.read_roles
        return role in view.write_roles
