"""Errors of the API as problem documents (RFC 9457)."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from calculations.loft import LoftError
from jobs.errors import Refused

PROBLEM_TYPE = "application/problem+json"
TITLES = {
    400: "The request cannot be carried out as it stands.",
    401: "Sign in first.",
    403: "Your role may not do this.",
    404: "There is nothing here for you.",
    405: "This address does not take that method.",
    406: "That form of answer is not offered.",
    409: "This collides with what is already stored.",
    412: "The record was changed since you read it.",
    415: "That media type is not taken here.",
    428: "Say which version you are changing.",
    429: "Too many requests.",
}


def problem(
    status: int, detail: str, errors: list[dict[str, str]] | None = None, **headers: str
) -> Response:
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": TITLES.get(status, "The request failed."),
        "status": status,
        "detail": detail,
    }
    if errors:
        body["errors"] = errors
    return Response(body, status=status, headers=headers, content_type=PROBLEM_TYPE)


def _below(path: str, key: str | int) -> str:
    """The path of a member: `readings` and 0 give `readings[0]`, then `depth_mm` a dotted name."""
    if isinstance(key, int):
        return f"{path}[{key}]"
    return f"{path}.{key}" if path else key


def field_errors(detail: Any, path: str = "") -> list[dict[str, str]]:
    """DRF's nested error detail as a flat list of {field, message}."""
    if isinstance(detail, dict):
        pairs = [(_below(path, key), value) for key, value in detail.items()]
    elif isinstance(detail, list) and any(isinstance(item, dict | list) for item in detail):
        pairs = [(f"{path}[{i}]", value) for i, value in enumerate(detail) if value]
    elif isinstance(detail, list):
        return [
            {"field": path.removesuffix(".non_field_errors"), "message": str(m)} for m in detail
        ]
    else:
        return [{"field": path, "message": str(detail)}]
    return [row for name, value in pairs for row in field_errors(value, name)]


def problem_handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: our refusals and DRF's own, all as problem documents."""
    if isinstance(error, Refused):
        row = {"field": error.field, "message": error.message, "remedy": error.remedy}
        answer = problem(error.status, str(error), [row])
        answer.data.update(error.members)
        return answer
    if isinstance(error, LoftError):
        row = {"field": error.path, "message": error.message, "remedy": error.remedy}
        return problem(400, str(error), [row])
    if isinstance(error, Http404 | exceptions.NotFound | PermissionDenied):
        status = 403 if isinstance(error, PermissionDenied) else 404
        return problem(status, TITLES[status])
    plain = exception_handler(error, context)
    if plain is None:
        return None
    errors = field_errors(plain.data) if isinstance(error, exceptions.ValidationError) else None
    detail = errors[0] if errors else None
    sentence = (
        f"{detail['field']}: {detail['message']}" if detail else str(getattr(error, "detail", ""))
    )
    answer = problem(plain.status_code, sentence, errors)
    for name in ("WWW-Authenticate", "Retry-After", "Allow"):
        if name in plain.headers:
            answer[name] = plain.headers[name]
    return answer
