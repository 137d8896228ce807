"""What keeps the answers of a class from its students: a secret, what is drawn from it, and locks.

The secret (256 bits) is drawn by the operating system and kept by the teacher only. Truth, readings and salts are
drawn from it through HMAC-SHA-256, each with its own label, so that no part tells another.

*A lock* lets a notebook say whether an answer is right without holding the answer: a slow, salted hash of the answer
put on a grid as wide as its tolerance. It keeps the answer from being read. It does not keep it from somebody who
writes a program that tries every value: a few hundred tries, some seconds. Marks therefore rest on the key.

References
----------
RFC 2104 (HMAC); RFC 7914 (scrypt).
"""

import hashlib
import hmac
import math
import secrets
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

SECRET_BYTES: Final = 32
SLOWNESS: Final = 2**12
"""Cost of one lock: 4 MB and some hundredths of a second."""


def new_secret() -> bytes:
    """256 bits from the operating system."""
    return secrets.token_bytes(SECRET_BYTES)


def derived(secret: bytes, label: str) -> bytes:
    """32 bytes that only the holder of the secret can know, one set for each label."""
    return hmac.new(secret, label.encode(), hashlib.sha256).digest()


def drawn_from(secret: bytes, label: str) -> np.random.Generator:
    """A generator of random numbers for one purpose; the same secret and label give the same numbers."""
    return np.random.default_rng(int.from_bytes(derived(secret, label), "big"))


def lock(answer: str, salt: bytes) -> str:
    """A slow hash of an answer: tells whether another answer is the same, and not which it is."""
    return hashlib.scrypt(answer.encode(), salt=salt, n=SLOWNESS, r=8, p=1, dklen=16).hex()


def number_lock(right: float, tolerance: float, salt: bytes) -> dict[str, Any]:
    """A lock that opens for numbers within a tolerance of the right one.

    Parameters
    ----------
    right, tolerance : float
        In the same unit.
    salt : bytes
        At least 16, another one for each lock.

    Returns
    -------
    dict
        Cell width, where the cells begin, salt and hash. Width and beginning tell the tolerance and where in its cell
        the right number lies (the middle): not in which cell.

    Examples
    --------
    >>> made = number_lock(25.1, 0.5, bytes(16))
    >>> [opens(made, x) for x in (24.5, 24.7, 25.5, 25.7)]
    [False, True, True, False]
    """
    width = 2 * tolerance
    begins = math.fmod(right - tolerance, width)
    made = {"width": width, "begins": begins, "salt": salt.hex()}
    return made | {"hash": lock(_cell(right, made), salt)}


def opens(made: Mapping[str, Any], number: float) -> bool:
    """Whether a number opens a `number_lock`."""
    if not math.isfinite(number):
        return False
    return hmac.compare_digest(lock(_cell(number, made), bytes.fromhex(made["salt"])), made["hash"])


def _cell(number: float, made: Mapping[str, Any]) -> str:
    return f"cell {math.floor((number - made['begins']) / made['width'])}"
