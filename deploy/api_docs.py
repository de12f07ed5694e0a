"""A page that lists the API, made from its own OpenAPI description.

The usual viewers come from other hosts, which the content security policy rightly refuses.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator

METHODS = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True)
class Value:
    """A parameter of a call, or a field of what is sent."""

    name: str
    kind: str
    required: bool
    meaning: str


@dataclass(frozen=True)
class Call:
    """One method on one address."""

    area: str
    method: str
    path: str
    meaning: str
    parameters: tuple[Value, ...]
    fields: tuple[Value, ...]
    answers: tuple[tuple[str, str], ...]


@require_safe
def api_docs(request: HttpRequest) -> HttpResponse:
    """Every call of the API, by area."""
    areas = [(area, list(calls)) for area, calls in groupby(all_calls(), lambda call: call.area)]
    return render(request, "api/docs.html", {"areas": areas, "page_title": "API"})


@lru_cache(maxsize=1)
def all_calls() -> tuple[Call, ...]:
    """The calls, in order of area and address."""
    calls = read_calls(description())
    return tuple(sorted(calls, key=lambda call: (call.area, call.path, call.method)))


@lru_cache(maxsize=1)
def description() -> dict[str, Any]:
    """The OpenAPI description; made once a process, as it takes a second. Not to be changed."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return made


class OnceAProcess(SchemaGenerator):
    """Gives everybody the same description: it tells what there is, not what one may do."""

    def get_schema(self, request: Any = None, public: bool = False) -> dict[str, Any]:
        return description()


def read_calls(schema: Mapping[str, Any]) -> Iterator[Call]:
    """The calls of an OpenAPI 3.1 description (OpenAPI Specification 3.1, Paths Object)."""
    for path, item in schema["paths"].items():
        for method in METHODS:
            if method in item:
                yield read_call(schema, path, method, item[method])


def read_call(schema: Mapping[str, Any], path: str, method: str, call: Mapping[str, Any]) -> Call:
    """One operation of the description."""
    parameters = tuple(
        Value(one["name"], kind_of(one.get("schema", {})), one.get("required", False), words(one))
        for one in call.get("parameters", ())
    )
    answers = tuple((code, words(answer)) for code, answer in call["responses"].items())
    return Call(
        area=next(iter(call.get("tags", ())), "api").replace("_", " ").replace("-", " "),
        method=method.upper(),
        path=path,
        meaning=words(call),
        parameters=parameters,
        fields=tuple(read_fields(schema, call)),
        answers=answers,
    )


def read_fields(schema: Mapping[str, Any], call: Mapping[str, Any]) -> Iterator[Value]:
    """The fields of what a call is sent."""
    content = call.get("requestBody", {}).get("content", {})
    body = next(iter(content.values()), {}).get("schema", {})
    body = resolve(schema, body)
    required = body.get("required", ())
    for name, field in body.get("properties", {}).items():
        yield Value(name, kind_of(field), name in required, words(field))


def resolve(schema: Mapping[str, Any], node: Mapping[str, Any]) -> Mapping[str, Any]:
    """Follow a reference within the description."""
    if "$ref" not in node:
        return node
    found: Any = schema
    for part in node["$ref"].removeprefix("#/").split("/"):
        found = found[part]
    return resolve(schema, found)


def kind_of(node: Mapping[str, Any]) -> str:
    """The kind of a value in a few words."""
    if "$ref" in node:
        return str(node["$ref"].rpartition("/")[2])
    for joined in ("allOf", "oneOf", "anyOf"):
        if joined in node:
            return " or ".join(dict.fromkeys(kind_of(one) for one in node[joined]))
    kind = node.get("type", "any")
    kinds = kind if isinstance(kind, list) else [kind]
    if "array" in kinds:
        return f"list of {kind_of(node.get('items', {}))}"
    return " or ".join([str(node.get("format", kinds[0])), *kinds[1:]])


def words(node: Mapping[str, Any]) -> str:
    """The first sentence or line of a description."""
    text = str(node.get("summary") or node.get("description") or "").strip()
    return text.splitlines()[0] if text else ""
