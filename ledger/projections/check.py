"""Checks a ledger against itself: the hash tree, the kept tables against a fresh replay, and the trial balance."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import blake2b

from sqlalchemy import Table, bindparam, func, or_, select

from ledger.errors import SlabbookError
from ledger.projections import rows
from ledger.projections.replay import Progress, replay
from ledger.projections.tables import REBUILT, postings
from ledger.store.reader import Reader
from ledger.store.statements import Statement
from ledger.store.store import Store
from ledger.store.verify import verify_tree

MASK = (1 << 128) - 1
MEASURES = ("mass_mg", "pieces", "packs", "seconds", "money")


@dataclass(slots=True)
class Finding:
    """One check: what was looked at, whether it holds, and the figures."""

    what: str
    holds: bool
    told: str


@dataclass(slots=True)
class Verdict:
    """The findings of one verification, and the tree head they speak of."""

    position: int
    root: str
    findings: list[Finding] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether every check holds."""
        return all(f.holds for f in self.findings)


def _sum(found: Iterable[rows.Row]) -> tuple[int, int]:
    """(rows, order-free checksum): the 128-bit sum of each row's hash."""
    total = number = 0
    for row in found:
        number += 1
        total = (total + int.from_bytes(blake2b(repr(tuple(row)).encode(), digest_size=16).digest(), "big")) & MASK
    return number, total


def verify(store: Store, progress: Progress | None = None) -> Verdict:
    """Check everything that can be checked without outside help. Nothing is written."""
    with store.read() as reader:
        verdict = Verdict(reader.head.position, reader.root().hex())
        try:
            verify_tree(reader, None)
            verdict.findings.append(
                Finding("hash tree", True, f"{reader.head.position} leaves give root {verdict.root[:16]}…")
            )
        except Exception as error:  # noqa: BLE001 (whatever is wrong with the tree is the finding)
            verdict.findings.append(Finding("hash tree", False, str(error)))
        try:
            kept = _kept_tables(store, reader, progress)
        except SlabbookError as error:
            kept = [Finding("fresh replay", False, error.message)]
        verdict.findings += kept
        found = reader.rows(_TRIAL, (store.site,))
        told = (
            f"{len(found)} entries out of balance"
            if found
            else "every entry sums to zero in mass, pieces, packs, time and money"
        )
        verdict.findings.append(Finding("trial balance", not found, told))
        return verdict


def _kept_tables(store: Store, reader: Reader, progress: Progress | None) -> list[Finding]:
    """Every kept table against a fresh replay of the log. Raises LedgerDamaged for an entry that cannot be replayed."""
    read = replay(reader)
    closed = read.closed
    fresh: dict[str, list[rows.Row]] = {"postings": list(read.postings(progress))}
    site = store.site
    fresh["postings"] = [(*r[:3], closed.get(r[1], r[3]), *r[4:]) for r in fresh["postings"]]
    fresh["edges"] = [(*r[:4], closed.get(r[3], r[4]), *r[5:]) for r in read.edges_new]
    fresh["lots"] = [rows.lot_row(site, x) for x in read.lots.values()]
    fresh["batches"] = [rows.batch_row(site, x) for x in read.batches.values()]
    fresh["flags"] = [rows.flag_row(site, x) for x in read.flags.values()]
    fresh["corrections"] = [(site, o, at, int(v)) for o, (at, v) in read.corrections.items()]
    fresh["papers"], fresh["book"] = read.papers_new, read.book_new
    findings = []
    for table in REBUILT:
        kept = _sum(reader.rows(_every(table), (site,)))
        anew = _sum(fresh[table.name])
        told = f"{kept[0]} rows kept, {anew[0]} replayed" + (
            "" if kept == anew else ": they differ; run `slabbook rebuild`"
        )
        findings.append(Finding(f"table {table.name}", kept == anew, told))
    return findings


def _every(table: Table) -> Statement:
    return Statement(select(table).where(table.c.site == bindparam("site")), ["site"])


_TRIAL = Statement(
    select(postings.c.known_from)
    .where(postings.c.site == bindparam("site"))
    .group_by(postings.c.known_from)
    .having(or_(*(func.sum(postings.c[name]) != 0 for name in MEASURES))),
    ["site"],
)
