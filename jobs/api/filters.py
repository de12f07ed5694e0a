"""How lists of the API are narrowed."""

from __future__ import annotations

from django.db import models
from django_filters.rest_framework import DjangoFilterBackend, FilterSet

from jobs.api.fields import IdFilter


class PlainFilterSet(FilterSet):
    """What `filterset_fields` of a view becomes: a record is named by its id, whosever it is.

    The usual choice field says of an id that exists nowhere that it is no valid choice, and
    finds nothing for one of another company: that would tell the two apart.
    """

    FILTER_DEFAULTS = {
        **FilterSet.FILTER_DEFAULTS,
        models.ForeignKey: {"filter_class": IdFilter},
        models.OneToOneField: {"filter_class": IdFilter},
    }


class FilterBackend(DjangoFilterBackend):
    filterset_base = PlainFilterSet
