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
    low = int.from_bytes(random, "big")
    value = (milliseconds & 0xFFFFFFFFFFFF) << 80 | low
    value = value & ~(0xF << 76) | 7 << 76
    value = value & ~(0x3 << 62) | 2 << 62
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"
