"""Messages name the way out as a command, for those at a terminal. On a page the same way out is a button; here the one becomes the other."""

from __future__ import annotations

import re

WAYS: dict[str, tuple[str, str]] = {
    "book": ("", "Book"), "open": ("Open a batch", "Bench"), "cook": ("Cook and pour", "Bench"), "work": ("Other time", "Bench"),
    "receive": ("Receive goods", "Bench"), "count": ("Count", "Shelf"), "release": ("Release", "Shelf"), "hold": ("Hold", "Shelf"),
    "scrap": ("Throw away", "Shelf"), "return": ("Packs came back to us", "Recall"), "sell": ("Sell", "Shelf"), "stock": ("", "Lots"), "log": ("", "Log"),
    "answer": ("Answer", "Week"), "recall": ("", "Recall"), "sheet": ("", "Sheet"), "size": ("", "Sheet"), "sheet-check": ("", "Sheet"),
    "season": ("", "Season"), "proof": ("Proof for a stranger", "Lots"), "import": ("", ""), "verify": ("Verify the whole log", "Log"),
    "rebuild": ("", ""), "amend": ("Amend", "Batch"), "void": ("Void", "Batch"),
}  # fmt: skip
"""First word of a command -> (button, page); neither where only the person at the computer can do it."""
AT_THE_COMPUTER = "the import at the computer"
_QUOTED = r"`slabbook ([a-z-]+)[^`]*`"


def _button(word: str) -> str:
    button, page = WAYS.get(word, ("", ""))
    if not page:
        return AT_THE_COMPUTER if word == "import" else "the check at the computer"
    return f"{button} on the {page} page" if button else f"the {page} page"


def _place(word: str) -> str:
    button, page = WAYS.get(word, ("", ""))
    return f"on the {page} page" if page and not button else f"with {_button(word)}"


def _first_up(text: str) -> str:
    return text[:1].upper() + text[1:]


def for_page(text: str) -> str:
    """A message as a page says it: `slabbook count LOT` becomes "Count on the Shelf page". Text without commands stays as it is."""
    if "`slabbook " not in text:
        return text
    text = re.sub(rf"\b(?:with|in) {_QUOTED} or (on the \w+ page)", r"\2", text)
    text = re.sub(r"\bload one with `slabbook book[^`]*`", "enter one on the Book page", text)
    text = re.sub(r"`slabbook book load [^`]*` brings in", "the Book page takes", text)
    text = re.sub(rf"\bwith {_QUOTED}", lambda m: _place(m[1]), text)
    text = re.sub(rf"\brun {_QUOTED}", "have the kept tables made anew at the computer", text)
    text = re.sub(
        rf"(^|[.:;] ){_QUOTED}",
        lambda m: m[1] + (_button(m[2]) if m[1][:1] in ":;" else _first_up(_button(m[2]))),
        text,
    )
    return re.sub(_QUOTED, lambda m: _button(m[1]), text)


__all__ = ["WAYS", "for_page"]
