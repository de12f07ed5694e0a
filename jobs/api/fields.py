"""Fields and filters that several endpoints share."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework import serializers


class VisibleRelatedField(serializers.PrimaryKeyRelatedField):
    """An id of a record the person may see; any other is answered as one that does not exist."""

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.context["request"].user)


class IdFilter(django_filters.NumberFilter):
    """Filters by an id. One of others' records finds nothing, like one that does not exist."""
