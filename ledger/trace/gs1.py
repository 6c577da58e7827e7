"""GS1 numbers and element strings: check digits, application identifiers, the text inside a GS1 DataMatrix.

A shop needs none of this until a customer asks for a GTIN. Never invent a GTIN: numbers that begin with 950 are GS1's
own for examples, and numbers that begin with 04 or 20 to 29 mean something inside one building only.

Source: GS1 General Specifications (check digit section 7.9, element strings section 3; limits from memory, tried
against the reader library ``biip``).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date

from ledger.errors import BadInput

GROUP_SEPARATOR = "\x1d"
LOT_LENGTH = 20
LOT_PATTERN = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]{1,20}")

FIXED_LENGTHS: Mapping[str, int] = {"00": 18, "01": 14, "02": 14, "11": 6, "13": 6, "15": 6, "16": 6, "17": 6}
"""Content lengths of the identifiers used here that need no separator after them (3100-3105 hold six digits too)."""


def check_digit(digits: str) -> int:
    """The last digit of a GTIN, SSCC or GLN, from the digits before it: weights 3, 1, 3, ... from the right.

    Raises:
        BadInput: something other than decimal digits.
    """
    if not (digits.isascii() and digits.isdigit()):
        raise BadInput(f"{digits!r} holds more than digits; a GS1 number is written 0-9 only.", value=digits)
    total = sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(digits)))
    return (10 - total % 10) % 10


def checked_gtin(text: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits as 14 digits.

    Raises:
        BadInput: wrong length, other signs, or a last digit that does not fit the rest (a digit was mistyped).
    """
    bare = text.strip().replace(" ", "")
    if not bare.isdigit() or len(bare) not in (8, 12, 13, 14):
        raise BadInput(f"{text!r} is no GTIN: it needs 8, 12, 13 or 14 digits and has {len(bare)} signs.", value=text)
    want = check_digit(bare[:-1])
    if want != int(bare[-1]):
        raise BadInput(
            f"{text!r} ends in {bare[-1]} and should end in {want}: one digit is wrong. Read it again from the "
            f"certificate.",
            value=text,
            expected=want,
        )
    return bare.zfill(14)


def checked_lot(text: str) -> str:
    """A lot mark that fits GS1 identifier (10): 1 to 20 signs without spaces or accents.

    Raises:
        BadInput: empty, too long, or with a sign that a scanner cannot hold.
    """
    if not LOT_PATTERN.fullmatch(text):
        raise BadInput(
            f"The lot mark {text!r} ({len(text)} signs) does not fit a label: use 1 to {LOT_LENGTH} capitals, "
            f"digits, '-' or '.'.",
            value=text,
            limit=LOT_LENGTH,
        )
    return text


def yymmdd(day: date) -> str:
    """A date as GS1 identifiers (11), (15) and (17) hold it."""
    return f"{day:%y%m%d}"


def element_pairs(
    gtin: str, lot: str, *, best_before: date | None = None, made: date | None = None
) -> list[tuple[str, str]]:
    """Identifier and content of a pack label, with (10) last.

    The lot has no fixed length. Standing last it needs no separator, and a scanner that drops separators (many do when
    they act as a keyboard) still reads it right.
    """
    pairs = [("01", checked_gtin(gtin))]
    if made is not None:
        pairs.append(("11", yymmdd(made)))
    if best_before is not None:
        pairs.append(("15", yymmdd(best_before)))
    pairs.append(("10", checked_lot(lot)))
    return pairs


def element_string(pairs: Sequence[tuple[str, str]]) -> str:
    """What a scanner hands over: identifiers and contents run together, a separator only where a content has no fixed
    length and is not the last one."""
    out = []
    for n, (ai, content) in enumerate(pairs):
        fixed = FIXED_LENGTHS.get(ai, 6 if re.fullmatch(r"310[0-5]", ai) else None)
        if fixed is not None and len(content) != fixed:
            raise BadInput(f"({ai}) holds {fixed} digits, not {content!r}.", identifier=ai, value=content)
        last = n == len(pairs) - 1
        out.append(ai + content + ("" if fixed is not None or last else GROUP_SEPARATOR))
    return "".join(out)


def bracketed(pairs: Sequence[tuple[str, str]]) -> str:
    """The line people read under the code: ``(01)09506000134352(15)271012(10)J26-0412``."""
    return "".join(f"({ai}){content}" for ai, content in pairs)
