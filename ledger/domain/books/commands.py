"""Entering something in the book."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Define:
    """Enter one thing in the book, or enter it anew: nothing is recorded when nothing differs."""

    name: ClassVar[str] = "define"
    day: str
    entry: Any
