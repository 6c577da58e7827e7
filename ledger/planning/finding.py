"""One thing wrong with a planning problem, said as one sentence; what is wrong with several things alike is said once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.planning.said import listed


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong: a permanent code, what it is about (item key, week label, kettle), and the sentence.

    ``names`` and ``more``: who else may have the same wrong with them, and how it is said of several (with ``{names}``).
    """

    code: str
    about: str
    message: str
    names: tuple[str, ...] = ()
    more: str = ""


def joined(findings: Sequence[Finding]) -> list[Finding]:
    """What is wrong with several things in the same way is said once, where the first of them stood."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for number, finding in enumerate(findings):
        groups.setdefault((finding.code, finding.more or f"#{number}"), []).append(finding)
    return [
        one[0]
        if len(one) == 1
        else Finding(
            one[0].code,
            ", ".join(f.about for f in one),
            one[0].more.format(names=listed([n for f in one for n in f.names])),
        )
        for one in groups.values()
    ]


def weeks_said(count: int) -> str:
    """`1 week`, `4 weeks`."""
    return f"{count} {'week' if count == 1 else 'weeks'}"


def is_or_are(name: str, one: str, more: str) -> str:
    """The verb or pronoun of a resource: `hands who cook` are several, a slab is one."""
    return more if name.startswith("hands") else one
