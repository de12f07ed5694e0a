"""Parts of addresses that are more than a number or a word."""

from __future__ import annotations

from datetime import date

from django.urls import register_converter


class IsoDate:
    """A day as YYYY-MM-DD."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


class PhotoMoment:
    """When in the work a photo is taken."""

    regex = "before|after|other"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(IsoDate, "isodate")
register_converter(PhotoMoment, "photomoment")
