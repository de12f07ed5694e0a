"""Static files named by their content, scripts that load one another included."""

from __future__ import annotations

from whitenoise.storage import CompressedManifestStaticFilesStorage


class StaticFiles(CompressedManifestStaticFilesStorage):
    """The manifest also rewrites what one module script imports from another."""

    support_js_module_import_aggregation = True
