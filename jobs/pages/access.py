"""Who may open a page. Every page view is declared with `page_for`, or with `open_page`."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse

View = Callable[..., HttpResponse]


def page_for(*roles: str) -> Callable[[View], View]:
    """A page for people of these roles. Strangers sign in first; other roles get a 404.

    A part of a page that htmx asks for once the session has ended is a 401: a redirect would put
    the page for signing in into the middle of this one, in place of what was typed.

    The roles are kept on the view as `roles`, where the access test reads them.
    """

    def declare(view: View) -> View:
        @login_required
        def signed_in(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.user.role not in roles:
                raise Http404
            return view(request, *args, **kwargs)

        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.headers.get("HX-Request") and not request.user.is_authenticated:
                return HttpResponse("You are signed out.", status=HTTPStatus.UNAUTHORIZED)
            return signed_in(request, *args, **kwargs)

        guarded.roles = frozenset(roles)  # type: ignore[attr-defined]
        return guarded

    return declare


def open_page(view: View) -> View:
    """A page for everybody, signed in or not."""
    view.roles = None  # type: ignore[attr-defined]
    return view
