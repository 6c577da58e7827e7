"""Codes a person can read off a jar: capitals, digits, `-` and `.`, at most 20 characters. Typed in small letters they mean the same.

The day code is the trade's year and day of year (YYDDD, after the ISO 8601 ordinal date); a letter tells the day's batches apart.
"""

from __future__ import annotations

import re
from datetime import date
from itertools import product
from string import ascii_uppercase

from ledger.errors import BadInput

_CODE = re.compile(r"[A-Z0-9][A-Z0-9.\-]{0,19}")
LOT_LETTER = {"cook": "C", "pull": "P", "blend": "N", "build": "L", "roll": "R", "cut": "K", "pack": "J"}
REBOIL_LETTER, RECEIPT_LETTER = "B", "M"


def in_capitals(typed: str) -> str:
    """A code as it is written, from one as it was typed: `26045a-k1` is 26045A-K1. Other letters than A to Z stay, for `check_code` to name."""
    return typed.upper() if typed.isascii() else typed


def check_code(code: str, what: str, such_as: str = "26045A") -> str:
    """The code itself, or BadInput when it would not fit a label (GS1 AI (10), QR alphanumeric mode)."""
    if not _CODE.fullmatch(code):
        raise BadInput(
            f"`{code}` cannot be a {what} code: use capitals, digits, `-` and `.`, at most 20 characters, such as `{such_as}`.",
            value=code, limit=20,
        )  # fmt: skip
    return code


def day_code(day: str) -> str:
    """YYDDD of an ISO day: 2026-02-14 -> 26045."""
    when = date.fromisoformat(day)
    return f"{when.year % 100:02d}{when.timetuple().tm_yday:03d}"


def next_batch_code(day: str, taken: set[str]) -> str:
    """The day's next batch code: 26045A, 26045B, ... 26045Z, 26045AA."""
    prefix = day_code(day)
    for size in (1, 2):
        for letters in product(ascii_uppercase, repeat=size):
            code = prefix + "".join(letters)
            if code not in taken:
                return code
    raise BadInput(f"Day {day} already has 702 batches; no code is left.", day=day)


def next_lot_code(stem: str, letter: str, taken: set[str]) -> str:
    """The next free lot code of a batch (`26045A-K1`) or of a day's receipts (`M26045-1`)."""
    number = 1
    while (code := f"{stem}{letter}{number}") in taken:
        number += 1
    return code
