"""The verifier as one file that runs wherever Python is: a zip application (PEP 441)."""

from __future__ import annotations

import io
import zipfile
from functools import cache
from pathlib import Path

ROOM = Path(__file__).parents[1]
PARTS = (
    "__init__.py",
    "ledger/__init__.py",
    "ledger/facts.py",
    "ledger/histories.py",
    "ledger/kinds.py",
    "ledger/tree.py",
)
START = "import sys\nfrom compliance.verify.__main__ import main\nsys.exit(main())\n"
SAME_DAY = (1980, 1, 1, 0, 0, 0)


@cache
def verifier_zipapp() -> bytes:
    """The same bytes every time: `compliance.verify`, which needs nothing but Python."""
    files = [ROOM / part for part in PARTS] + sorted((ROOM / "verify").glob("*.py"))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(zipfile.ZipInfo("__main__.py", SAME_DAY), START)
        for file in files:
            name = f"compliance/{file.relative_to(ROOM).as_posix()}"
            packed.writestr(zipfile.ZipInfo(name, SAME_DAY), file.read_bytes())
    return out.getvalue()
