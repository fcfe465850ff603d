"""The one password of the page, kept as a salted scrypt hash (RFC 7914) in a credential.

Rule 1: a guess costs the same time whether it is right, wrong or absurd.
Rule 2: what is stored says how it was made, so that it can be made dearer later.
"""

import base64
import binascii
import hashlib
import hmac
import secrets

# 16 MB and about a tenth of a second on a development machine: the interactive figures of the scrypt paper.
COST, BLOCK, PARALLEL = 2**14, 8, 1
SALT_BYTES, HASH_BYTES = 16, 32
LEAST, MOST = 8, 200
"""Characters; fewer are guessed, more are nobody's password."""

_MEMORY_BYTES = 64 * 1024 * 1024


def hashed(password: str) -> str:
    """One line of text to keep instead of the password.

    Raises
    ------
    ValueError
        It is too short or too long.
    """
    if not LEAST <= len(password) <= MOST:
        raise ValueError(f"the password has {len(password)} characters; allowed: {LEAST} to {MOST}")
    salt = secrets.token_bytes(SALT_BYTES)
    words = ["scrypt", str(COST), str(BLOCK), str(PARALLEL), _text(salt)]
    return " ".join([*words, _text(_scrypt(password, salt, COST, BLOCK, PARALLEL))])


def is_kept(stored: str) -> bool:
    """Whether this line was made by `hashed`, so that a slip in a file is told at once."""
    try:
        name, *costs, salt, kept = stored.split()
        is_whole = len(costs) == 3 and all(int(one) > 0 for one in costs)
        return name == "scrypt" and is_whole and bool(_bytes(salt)) and len(_bytes(kept)) == HASH_BYTES
    except (ValueError, binascii.Error):
        return False


def is_right(password: str, stored: str) -> bool:
    """Whether this is the password; a stored line that is none lets nobody in."""
    try:
        name, cost, block, parallel, salt, kept = stored.split()
        if name != "scrypt" or not 1 <= len(password) <= MOST:
            raise ValueError(stored)
        found = _scrypt(password, _bytes(salt), int(cost), int(block), int(parallel))
    except (ValueError, binascii.Error):
        _scrypt("x", b"0" * SALT_BYTES, COST, BLOCK, PARALLEL)
        return False
    return hmac.compare_digest(found, _bytes(kept))


def _scrypt(password: str, salt: bytes, cost: int, block: int, parallel: int) -> bytes:
    return hashlib.scrypt(
        password.encode(), salt=salt, n=cost, r=block, p=parallel, maxmem=_MEMORY_BYTES, dklen=HASH_BYTES
    )


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, validate=True)
