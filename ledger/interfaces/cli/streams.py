"""What leaves through standard output and standard error, also where the system's own encoding has no word for it.

Into a file or a pipe goes UTF-8, which every import here reads back; Windows would write its code page there and stop at the first narrow
blank. A terminal that cannot show a sign gets a plain one in its place: a figure must never be lost to a dash.
"""

from __future__ import annotations

import codecs
import os
import sys
from io import TextIOWrapper

PLAIN = {
    "\u202f": " ", "\u00a0": " ", "\u2009": " ", "–": "-", "—": "-", "−": "-", "×": "x", "→": "->", "≤": "<=", "≥": ">=", "≈": "~", "…": "...",
    "°": " deg ", "·": ".", "½": "1/2", "¼": "1/4", "¾": "3/4", "€": "EUR", "£": "GBP",
}  # fmt: skip
"""Signs that our words and tables use, as a terminal of few signs can show them; any other becomes `?`."""
HANDLER = "slabbook-plain"


def plainly(error: UnicodeError) -> tuple[str, int]:
    """What stands for signs that an encoding lacks (an error handler as `codecs.register_error` wants it)."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(PLAIN.get(sign, "?") for sign in lost), error.end


def speak_everywhere() -> None:
    """Make both streams of this process fit for every sign. PYTHONIOENCODING is followed where it is set; its gaps are filled with plain signs."""
    codecs.register_error(HANDLER, plainly)
    for stream in (sys.stdout, sys.stderr):
        if not isinstance(stream, TextIOWrapper) or codecs.lookup(stream.encoding).name == "utf-8":
            continue
        if stream.isatty() or os.environ.get("PYTHONIOENCODING"):
            stream.reconfigure(errors=HANDLER)
        else:
            stream.reconfigure(encoding="utf-8")


__all__ = ["PLAIN", "plainly", "speak_everywhere"]
