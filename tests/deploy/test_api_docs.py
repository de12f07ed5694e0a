from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from deploy.api_docs import Value, kind_of, read_calls

SCHEMA: dict[str, Any] = {
    "paths": {
        "/api/v1/lofts/{id}/": {
            "patch": {
                "tags": ["lofts"],
                "description": "Correct a loft.\n\nWith If-Match.",
                "parameters": [
                    {"name": "id", "required": True, "schema": {"type": "integer"}},
                ],
                "requestBody": {
                    "content": {
                        "application/json": {"schema": {"$ref": "#/components/schemas/Loft"}}
                    }
                },
                "responses": {"200": {"description": "The loft"}, "412": {"description": ""}},
            }
        }
    },
    "components": {
        "schemas": {
            "Loft": {
                "required": ["depth_mm"],
                "properties": {
                    "depth_mm": {"type": ["integer", "null"], "description": "Depth [mm]"},
                    "areas": {"type": "array", "items": {"$ref": "#/components/schemas/Area"}},
                },
            }
        }
    },
}


def test_a_call_is_read_with_what_it_takes_and_answers() -> None:
    """The shape of the OpenAPI Specification 3.1 (Operation, Parameter, Request Body Object)."""
    (call,) = read_calls(SCHEMA)
    assert (call.area, call.method, call.path) == ("lofts", "PATCH", "/api/v1/lofts/{id}/")
    assert call.meaning == "Correct a loft."
    assert call.parameters == (Value("id", "integer", True, ""),)
    assert call.fields == (
        Value("depth_mm", "integer or null", True, "Depth [mm]"),
        Value("areas", "list of Area", False, ""),
    )
    assert call.answers == (("200", "The loft"), ("412", ""))


@pytest.mark.parametrize(
    ("node", "kind"),
    [
        ({"type": "string", "format": "date"}, "date"),
        ({"oneOf": [{"$ref": "#/components/schemas/Stage"}, {"type": "null"}]}, "Stage or null"),
        ({}, "any"),
    ],
)
def test_kinds_in_words(node: dict[str, Any], kind: str) -> None:
    assert kind_of(node) == kind


@pytest.mark.django_db
def test_the_page_and_the_description_agree(client: Client) -> None:
    page = client.get("/api/v1/docs/")
    assert page.status_code == 200
    description = client.get("/api/v1/schema/", headers={"accept": "application/json"}).json()
    assert description["openapi"].startswith("3.1")
    text = page.content.decode()
    assert [path for path in description["paths"] if f"<code>{path}</code>" not in text] == []


@pytest.mark.django_db
def test_words_for_developers_stay_out(client: Client) -> None:
    assert "Use as the first base" not in client.get("/api/v1/docs/").content.decode()
