"""The second factor: codes by time (RFC 6238, SHA-1, 30 s, 6 digits), each good once, one step of grace either way."""

import hmac
from datetime import datetime

import pyotp

STEP = 30
GRACE = 1


def new_secret() -> str:
    """A fresh secret of 160 bits, base 32."""
    return pyotp.random_base32()


def uri(secret: str, name: str, issuer: str = "canalwright") -> str:
    """What an authenticator reads from a square code."""
    return pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name=issuer)


def step_of(secret: str, code: str, now: datetime, last_step: int) -> int | None:
    """The step of time to which a code belongs; None when it is wrong, old, or was used before (`last_step`)."""
    present = int(now.timestamp()) // STEP
    maker = pyotp.TOTP(secret)
    for step in range(present - GRACE, present + GRACE + 1):
        if hmac.compare_digest(maker.at(step * STEP).encode(), code.strip().encode()):
            return step if step > last_step else None
    return None
