"""Event ids: UUID version 7 (RFC 9562 section 5.7), which sort by the time they were made."""

from __future__ import annotations

import os
import time


def uuid7() -> str:
    """A new id from this machine's clock (milliseconds) and 74 random bits."""
    return uuid7_from(time.time_ns() // 1_000_000, os.urandom(10))


def uuid7_from(milliseconds: int, random: bytes) -> str:
    """The id for a Unix time in milliseconds and ten random bytes, as 36 lower-case characters.

    Of the 80 random bits the six that RFC 9562 fixes (version and variant) are overwritten.
    """
    at, rest = (milliseconds & 0xFFFFFFFFFFFF).to_bytes(6, "big").hex(), random.hex()
    variant = "89ab"[random[2] >> 4 & 3]
    return f"{at[:8]}-{at[8:]}-7{rest[1:4]}-{variant}{rest[5:8]}-{rest[8:]}"
