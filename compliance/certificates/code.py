"""The code printed on a certificate: read aloud, typed on a phone, hard to guess.

Eleven characters at random and one that checks them, in three groups of four with dashes. The
alphabet has 23 characters, none of which is easily taken for another (no 0 O, 1 I L, 2 Z,
5 S, 8 B, U V), so there are 23**11, about 9.5e14, codes. Twenty-three is a prime, so a check
sum with different weights finds every single wrong character and every two that changed
places.
"""

from __future__ import annotations

import re
import secrets

from jobs.errors import Refused

ALPHABET = "34679ACDEFGHJKMNPQRTWXY"
RANDOM_LENGTH = 11
GROUP = 4
SHAPE = re.compile(rf"[{ALPHABET}]{{{RANDOM_LENGTH + 1}}}")


def new_code() -> str:
    """A code nobody can guess."""
    body = "".join(secrets.choice(ALPHABET) for _ in range(RANDOM_LENGTH))
    return in_groups(body + check_character(body))


def check_character(body: str) -> str:
    """The character that makes the weighted sum a multiple of 23."""
    total = sum((i + 1) * ALPHABET.index(c) for i, c in enumerate(body))
    # Weight 12 on the check character itself: solve total + 12 c = 0 (mod 23).
    inverse = pow(RANDOM_LENGTH + 1, -1, len(ALPHABET))
    return ALPHABET[(-total * inverse) % len(ALPHABET)]


def in_groups(code: str) -> str:
    return "-".join(code[i : i + GROUP] for i in range(0, len(code), GROUP))


def read_code(typed: str) -> str:
    """A code as it is stored, from what somebody typed: any case, blanks or dashes.

    Raises:
        Refused: it cannot be a code, so that a slip is told before anything is looked up.
    """
    bare = re.sub(r"[\s\-]", "", typed).upper()
    if not SHAPE.fullmatch(bare) or check_character(bare[:-1]) != bare[-1]:
        raise Refused(
            "This cannot be the code of a certificate.",
            field="code",
            remedy="Type the twelve characters again as they are printed, in three groups of "
            "four. There is no zero, one, two, five or eight among them.",
        )
    return in_groups(bare)
