"""Who may open a page. Every page view is declared with `page_for`, or with `open_page`."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render

View = Callable[..., HttpResponse]
SIGNED_OUT = "You are signed out, and nothing was changed. Sign in in another tab, then try again."
NOT_GIVEN_BACK = ("csrfmiddlewaretoken", "password")
"""Fields with one of these in their names are not put into the page that gives the rest back."""


def page_for(*roles: str) -> Callable[[View], View]:
    """A page for people of these roles. Strangers sign in first; other roles get a 404.

    What is sent once the session has ended is a 401 that gives it back. So is a part of a page that
    htmx asks for: a redirect would put the page for signing in into the middle of this one, in
    place of what was typed.

    The roles are kept on the view as `roles`, where the access test reads them.
    """

    def declare(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return _for_a_stranger(request)
            if request.user.role not in roles:
                raise Http404
            return view(request, *args, **kwargs)

        guarded.roles = frozenset(roles)  # type: ignore[attr-defined]
        return guarded

    return declare


def _for_a_stranger(request: HttpRequest) -> HttpResponse:
    """To sign in, where a page is asked for; else what was sent, to be sent again."""
    if request.method in ("GET", "HEAD") and "HX-Request" not in request.headers:
        return redirect_to_login(request.get_full_path())
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        told = {"refused": SIGNED_OUT, "message": SIGNED_OUT}
        return JsonResponse(told, status=HTTPStatus.UNAUTHORIZED)
    sent = [
        (name, value)
        for name, values in request.POST.lists()
        for value in values
        if not any(part in name for part in NOT_GIVEN_BACK)
    ]
    context = {"sent": sent, "had_files": bool(request.FILES)}
    return render(request, "signed_out.html", context, status=HTTPStatus.UNAUTHORIZED)


def open_page(view: View) -> View:
    """A page for everybody, signed in or not."""
    view.roles = None  # type: ignore[attr-defined]
    return view
