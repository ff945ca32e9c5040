"""Names that say nothing: random, easy to read aloud, with a check letter that catches a slip of the pen.

Letters of base 32 without I, L, O and U. `P-7K3MQ-2XDRC`: 9 random letters (45 bits) and the check letter, which is the
sum of position times value modulo 31: it catches every single wrong letter and every swap of neighbours but for pairs
that differ by 31.
"""

import hmac
import secrets

LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
RANDOM = 9


def new_name(prefix: str) -> str:
    """A fresh name such as `P-7K3MQ-2XDRC`."""
    body = "".join(secrets.choice(LETTERS) for _ in range(RANDOM))
    whole = body + _check(body)
    return f"{prefix}-{whole[:5]}-{whole[5:]}"


def keyed_name(prefix: str, key: bytes, text: str) -> str:
    """The name that stands for `text`: always the same under one key, and not to be guessed without it (HMAC-SHA256, 45 bits of it)."""
    number = int.from_bytes(hmac.digest(key, text.encode(), "sha256")[:8], "big")
    body = "".join(LETTERS[number >> 5 * i & 31] for i in range(RANDOM))
    whole = body + _check(body)
    return f"{prefix}-{whole[:5]}-{whole[5:]}"


def well_formed(name: str, prefix: str) -> bool:
    """Whether a name has the right shape and check letter."""
    letters = name.upper().replace("-", "")
    body, check = letters[len(prefix) : -1], letters[-1:]
    if not letters.startswith(prefix) or len(body) != RANDOM or set(body) - set(LETTERS):
        return False
    return check == _check(body)


def _check(body: str) -> str:
    return LETTERS[sum((i + 1) * LETTERS.index(c) for i, c in enumerate(body)) % 31]
