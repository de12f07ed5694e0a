"""Static files named by their content, scripts that load one another included."""

from __future__ import annotations

from typing import Any

from whitenoise.storage import CompressedManifestStaticFilesStorage

OUR_MODULES = ("on_site/*.js", "planning*.js", "compare*.js", "audit_*.js")
"""Scripts that import one another. Libraries' own are left as they are: they may name files that
only their build had."""

_PLACE = r"""["'](?P<url>\.{1,2}/[^"']+)["']"""
IMPORTS = (
    (
        rf"""(?P<matched>import(?P<names>\s*\{{[^}}]*\}}\s*from)\s*{_PLACE})""",
        """import%(names)s "%(url)s\"""",
    ),
    (rf"""(?P<matched>import\s*{_PLACE})""", """import "%(url)s\""""),
    (rf"""(?P<matched>import\(\s*{_PLACE}\s*\))""", """import("%(url)s")"""),
)
"""How a script names another: the three forms that our scripts use."""


OPEN_TO_ALL = {"file_permissions_mode": 0o644, "directory_permissions_mode": 0o755}


class StaticFiles(CompressedManifestStaticFilesStorage):
    """The manifest also rewrites what one of our scripts imports from another.

    Files are open to whoever serves them: who collected them may be another user, such as the one
    that builds an image. Photos and documents, which have a storage of their own, stay closed.
    """

    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        *((folder, IMPORTS) for folder in OUR_MODULES),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **(OPEN_TO_ALL | options))
