"""Old shapes of events are lifted to the present one, one version at a time, on the stored dict.

A ladder for changing an event, the cheapest step first:

1. a new optional field with a default: nothing to do, old rows decode with the default;
2. anything else: raise the version in ``@stored_as`` and write one upcaster here from the last version to the new one;
   the golden sample of the old version stays in ``tests/golden/events`` and must still decode;
3. history itself is never rewritten.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ledger.errors import LedgerDamaged

Upcaster = Callable[[dict[str, Any]], dict[str, Any]]

_hops: dict[tuple[str, int], Upcaster] = {}


def upcasts(name: str, from_version: int) -> Callable[[Upcaster], Upcaster]:
    """Register a function that turns the stored dict of ``name`` version n into that of version n + 1."""

    def register(hop: Upcaster) -> Upcaster:
        if (name, from_version) in _hops:
            raise ValueError(f"{name} version {from_version} has an upcaster already")
        _hops[name, from_version] = hop
        return hop

    return register


def lift(name: str, stored: dict[str, Any], from_version: int, to_version: int) -> dict[str, Any]:
    """The stored dict of version ``from_version``, lifted hop by hop. Raises LedgerDamaged where a hop is missing."""
    for version in range(from_version, to_version):
        hop = _hops.get((name, version))
        if hop is None:
            raise LedgerDamaged(
                f"an event {name} is stored in shape {version}, and this program does not know how to lift it to shape "
                f"{version + 1} (it reads shape {to_version}); install the release that wrote it, or newer",
                name=name,
                version=version,
            )
        stored = hop(stored)
    return stored
