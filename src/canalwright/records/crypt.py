"""Sealing of small things: AES-256-GCM (NIST SP 800-38D) with a random 96-bit nonce, and keys derived by HKDF-SHA256
(RFC 5869). The context is authenticated: what was sealed for one place does not open in another.
"""

import os

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from canalwright.records.errors import StoreDamaged

KEY_BYTES = 32
NONCE_BYTES = 12


def new_key() -> bytes:
    """A random key, 32 bytes."""
    return os.urandom(KEY_BYTES)


def derive(key: bytes, purpose: str, salt: bytes = b"") -> bytes:
    """A 32-byte key for one purpose from a 32-byte key; the same inputs give the same key."""
    return HKDF(SHA256(), KEY_BYTES, salt or None, f"canalwright {purpose}".encode()).derive(key)


def seal(key: bytes, plain: bytes, context: str) -> bytes:
    """`plain` encrypted and authenticated: nonce, ciphertext, tag."""
    nonce = os.urandom(NONCE_BYTES)
    return nonce + AESGCM(key).encrypt(nonce, plain, context.encode())


def unseal(key: bytes, sealed: bytes, context: str) -> bytes:
    """What was sealed. Raises StoreDamaged when key, context or a single bit is wrong."""
    try:
        return AESGCM(key).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], context.encode())
    except (InvalidTag, ValueError):
        raise StoreDamaged(
            f"a sealed entry does not open ({context}): it was changed, or the key is not its own"
        ) from None
