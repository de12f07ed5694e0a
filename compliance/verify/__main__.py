"""`python -m compliance.verify PACK_OR_URL --key FILE`: sound, or the first thing wrong.

Exit codes: 0 sound; 1 something is not as it was recorded; 2 it could not be checked.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Sequence

from compliance.verify.faults import PackReport, Unsound
from compliance.verify.fetching import Fetcher, FetchError
from compliance.verify.kept_seals import read_kept_seal
from compliance.verify.keys import KeyFileError, read_keys
from compliance.verify.pack import MOST_FAULTS, verify_pack
from compliance.verify.seals import ReadSeal
from compliance.verify.service import verify_service
from compliance.verify.sources import Source, open_source
from compliance.verify.zip_source import ZipSource

SOUND, NOT_SOUND, NOT_CHECKED = 0, 1, 2
TOKEN_VARIABLE = "EAVESBOOK_TOKEN"


def main(arguments: Sequence[str] | None = None) -> int:
    asked = parser().parse_args(arguments)
    try:
        keys = [key for file in asked.key for key in read_keys(file)]
        kept = [read_kept_seal(file) for file in asked.seal]
        report = check(asked.what, keys, kept, asked.faults)
    except Unsound as unsound:
        print(f"NOT SOUND. The first thing wrong: {unsound.fault}")
        return NOT_SOUND
    except (KeyFileError, FetchError, OSError) as error:
        print(f"Not checked. {error}", file=sys.stderr)
        return NOT_CHECKED
    print(report)
    return SOUND if report.sound else NOT_SOUND


def parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m compliance.verify",
        description="Check an evidence pack, or a service's Seals, with nothing but a public key.",
        epilog="Exit codes: 0 sound, 1 not sound, 2 not checked. For a pack behind a sign-in, put "
        f"a token of the API into {TOKEN_VARIABLE}.",
    )
    parser.add_argument(
        "what",
        metavar="PACK_OR_URL",
        help="a pack as zip or folder, the address of one, or the address of a service",
    )
    parser.add_argument(
        "--key",
        metavar="FILE",
        action="append",
        required=True,
        help="public key of the Seals (PEM or hexadecimal), fetched another way than the pack",
    )
    parser.add_argument(
        "--seal",
        metavar="FILE",
        action="append",
        default=[],
        help="a Seal that you kept; what is checked must continue it",
    )
    parser.add_argument(
        "--faults", metavar="N", type=int, default=MOST_FAULTS, help="name at most so many"
    )
    return parser


def check(
    what: str, keys: Sequence[bytes], kept: Sequence[ReadSeal], most_faults: int
) -> PackReport:
    """Raises Unsound, FetchError, OSError."""
    if not what.startswith(("http://", "https://")):
        return _pack(open_source(what), keys, kept, most_faults)
    fetcher = Fetcher(what, os.environ.get(TOKEN_VARIABLE, ""))
    if "/packs/" not in what and not what.endswith(".zip"):
        return verify_service(fetcher, keys, kept_seals=kept)
    with tempfile.TemporaryFile() as file:
        fetcher.to_file(what, file)
        return _pack(ZipSource(file, what), keys, kept, most_faults)


def _pack(
    source: Source, keys: Sequence[bytes], kept: Sequence[ReadSeal], most_faults: int
) -> PackReport:
    return verify_pack(source, keys, kept_seals=kept, most_faults=most_faults)


if __name__ == "__main__":
    sys.exit(main())
