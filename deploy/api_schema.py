"""How the API's OpenAPI description is made."""

from __future__ import annotations

from typing import Any

from drf_spectacular.plumbing import get_lib_doc_excludes


def bases_without_words() -> list[type[Any]]:
    """Bases whose docstring speaks to developers; a view without words of its own has none."""
    from jobs.api.concurrency import VersionedUpdateMixin
    from jobs.api.idempotency import IdempotentCreateMixin

    return [*get_lib_doc_excludes(), IdempotentCreateMixin, VersionedUpdateMixin]
