"""Told at the start, and not when the first certificate is issued: a signing key that can't be."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error
from django.core.exceptions import ImproperlyConfigured

from compliance.certificates.key_sources import check_device_settings, from_file


def check_signing_key(**_: Any) -> list[CheckMessage]:
    """Opens a file; of a device looks at the settings alone, since not every command signs."""
    try:
        if settings.CERTIFICATE_TOKEN["module"]:
            check_device_settings(settings.CERTIFICATE_TOKEN)
        elif settings.CERTIFICATE_KEY_STORE:
            from_file(settings.CERTIFICATE_KEY_STORE, settings.CERTIFICATE_KEY_PASSWORD)
    except ImproperlyConfigured as error:
        return [Error(str(error), id="compliance.E001")]
    return []
