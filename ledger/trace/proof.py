"""A proof for a stranger: these rows stand in the ledger, and the ledger of today begins with the ledger of that day.

The proof is a small JSON file that needs no software of ours to check (``docs/verify-without-us.md``). It holds

* each row as the exact line that is hashed, with its position and its audit path (RFC 9162 section 2.1.3),
* the tree head it is proved against: number of rows and root,
* if an earlier head is known (printed on a day sheet, sent in a mail), the consistency proof from it (section 2.1.4).

A proof says nothing against the ledger's own keeper unless the head left the house in time: whoever holds the machine
can rebuild a whole ledger. What counts is that a head was printed and handed over before anyone had a reason to change
a row.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from ledger.errors import BadInput
from ledger.store.merkle import EMPTY_ROOT, leaf_hash, node_hash, verify_consistency, verify_inclusion

FORMAT = "slabbook-proof-1"


@dataclass(frozen=True, slots=True)
class TreeHead:
    """The state of a ledger in one number: how many rows, their root (hex), and when and where this head was told."""

    size: int
    root: str
    at: str = ""
    told: str = ""


@dataclass(frozen=True, slots=True)
class ProvedRow:
    """One row of the ledger: position from 1, the canonical line, and its audit path (hex, leaf first)."""

    position: int
    line: str
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Proof:
    """Everything a stranger needs: rows, head, and, if given, the earlier head with the consistency path."""

    site: str
    head: TreeHead
    rows: tuple[ProvedRow, ...]
    earlier: TreeHead | None = None
    consistency: tuple[str, ...] = ()
    about: str = ""


@dataclass
class SubtreeRoots:
    """Roots of all perfect subtrees of a row of leaf hashes, so that many paths cost one pass over the leaves."""

    leaves: Sequence[bytes]
    levels: list[list[bytes]] = field(init=False)

    def __post_init__(self) -> None:
        self.levels = [list(self.leaves)]
        while len(self.levels[-1]) > 1:
            below = self.levels[-1]
            self.levels.append([node_hash(below[i], below[i + 1]) for i in range(0, len(below) - 1, 2)])

    def root(self, low: int = 0, high: int | None = None) -> bytes:
        """Root of leaves ``low`` to ``high`` (a range that RFC 9162 splits off, so ``low`` is aligned)."""
        high = len(self.leaves) if high is None else high
        if low == high:
            return EMPTY_ROOT
        pieces: list[bytes] = []
        while low < high:
            level = (high - low).bit_length() - 1
            pieces.append(self.levels[level][low >> level])
            low += 1 << level
        root = pieces.pop()
        while pieces:
            root = node_hash(pieces.pop(), root)
        return root

    def inclusion(self, index: int) -> list[bytes]:
        """Audit path of leaf ``index`` (from 0) in the whole tree."""
        path: list[bytes] = []
        low, high = 0, len(self.leaves)
        while high - low > 1:
            middle = low + (1 << ((high - low - 1).bit_length() - 1))
            if index < middle:
                path.append(self.root(middle, high))
                high = middle
            else:
                path.append(self.root(low, middle))
                low = middle
        return path[::-1]

    def consistency(self, first: int) -> list[bytes]:
        """Consistency proof from the first ``first`` leaves to all of them."""
        proof: list[bytes] = []
        low, high, whole = 0, len(self.leaves), True
        while first != high:
            middle = low + (1 << ((high - low - 1).bit_length() - 1))
            if first <= middle:
                proof.append(self.root(middle, high))
                high = middle
            else:
                proof.append(self.root(low, middle))
                low, whole = middle, False
        if not whole:
            proof.append(self.root(low, high))
        return proof[::-1]


def make_proof(
    site: str,
    lines: Iterable[tuple[int, str]],
    leaves: Sequence[bytes],
    *,
    at: str,
    earlier: TreeHead | None = None,
    about: str = "",
) -> Proof:
    """The proof of some rows (position from 1, canonical line) against the tree of all ``leaves`` (32-byte leaf
    hashes).

    Raises:
        BadInput: a position outside the ledger, a line that is not what was hashed, or an earlier head that this
        ledger does
            not begin with (then the ledger was changed since, and that is the finding).
    """
    tree = SubtreeRoots(leaves)
    rows = []
    for position, line in lines:
        if not 1 <= position <= len(leaves):
            raise BadInput(f"There is no row {position}; the ledger has {len(leaves)} rows.", position=position)
        if leaf_hash(line.encode()) != leaves[position - 1]:
            raise BadInput(f"Row {position} is not the line that was hashed when it was written.", position=position)
        rows.append(ProvedRow(position, line, tuple(h.hex() for h in tree.inclusion(position - 1))))
    head = TreeHead(len(leaves), tree.root().hex(), at)
    path: tuple[str, ...] = ()
    if earlier is not None:
        if not 0 < earlier.size <= len(leaves):
            raise BadInput(
                f"The earlier head speaks of {earlier.size} rows; this ledger has {len(leaves)}.", size=earlier.size
            )
        begins = SubtreeRoots(leaves[: earlier.size]).root().hex()
        if begins != earlier.root:
            raise BadInput(
                f"The first {earlier.size} rows have the root {begins[:16]}…, but the head told on "
                f"{earlier.at or 'that day'} "
                f"was {earlier.root[:16]}…: rows were changed after that head left the house.",
                told=earlier.root,
                found=begins,
            )
        path = tuple(h.hex() for h in tree.consistency(earlier.size))
    return Proof(site, head, tuple(rows), earlier, path, about)


def proof_to_json(proof: Proof) -> str:
    """The proof file, one key a line, in plain ASCII keys; each row's line is a JSON string to be hashed as it
    reads."""
    out: dict[str, Any] = {
        "format": FORMAT,
        "about": proof.about,
        "site": proof.site,
        "hash": "SHA-256; leaf = H(00 || line), node = H(01 || left || right); RFC 9162 section 2.1",
        "head": _head_out(proof.head),
        "rows": [{"position": r.position, "line": r.line, "path": list(r.path)} for r in proof.rows],
    }
    if proof.earlier is not None:
        out["earlier"] = _head_out(proof.earlier)
        out["consistency"] = list(proof.consistency)
    return json.dumps(out, indent=1, ensure_ascii=False) + "\n"


def _head_out(head: TreeHead) -> dict[str, Any]:
    return {"size": head.size, "root": head.root, "at": head.at, "told": head.told}


def proof_from_json(text: str) -> Proof:
    """Read a proof file.

    Raises:
        BadInput: not a proof file of this form.
    """
    try:
        data = json.loads(text)
        if data["format"] != FORMAT:
            raise BadInput(f"This is {data['format']!r}; wanted {FORMAT!r}.", format=data["format"])
        earlier = data.get("earlier")
        return Proof(
            data["site"],
            TreeHead(**data["head"]),
            tuple(ProvedRow(r["position"], r["line"], tuple(r["path"])) for r in data["rows"]),
            TreeHead(**earlier) if earlier else None,
            tuple(data.get("consistency", ())),
            data.get("about", ""),
        )
    except (json.JSONDecodeError, KeyError, TypeError) as error:
        raise BadInput(f"This is no proof file ({error!r}); ask for it again with `slabbook proof`.") from error


def check_proof(proof: Proof, *, told: TreeHead | None = None) -> list[str]:
    """What is wrong with a proof; empty means it holds.

    ``told`` is a head the reader has on paper. It must be the proof's head or its earlier head, or the proof, though
    it may hold in itself, proves nothing to that reader.
    """
    wrong: list[str] = []
    try:
        root = bytes.fromhex(proof.head.root)
        for row in proof.rows:
            path = [bytes.fromhex(h) for h in row.path]
            if not verify_inclusion(leaf_hash(row.line.encode()), row.position - 1, proof.head.size, path, root):
                wrong.append(f"Row {row.position} is not in the ledger of {proof.head.size} rows with this root.")
        if proof.earlier is not None:
            path = [bytes.fromhex(h) for h in proof.consistency]
            first = bytes.fromhex(proof.earlier.root)
            if not verify_consistency(proof.earlier.size, proof.head.size, first, root, path):
                wrong.append(
                    f"The ledger of {proof.head.size} rows does not begin with the one of {proof.earlier.size} rows."
                )
    except ValueError as error:
        return [f"A hash in the file is not hexadecimal ({error})."]
    if told is not None:
        held = [(h.size, h.root) for h in (proof.head, proof.earlier) if h is not None]
        if (told.size, told.root.lower()) not in held:
            wrong.append(f"The head on paper ({told.size} rows, {told.root[:16]}…) is not in this proof.")
    return wrong
