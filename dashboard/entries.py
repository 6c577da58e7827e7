"""Entries of a batch as they are believed now: what a card and the batch page list, each with the position to amend."""

from __future__ import annotations

import json
from typing import Any

from dashboard.components.words import entry_name
from ledger.analytics.records import records
from ledger.application.ledger import Ledger

CORRECTIONS = ("ledger.amended", "ledger.voided")


def batch_entries(ledger: Ledger, batch: str) -> list[dict[str, Any]]:
    """Entries of a batch in order: position, what, day, by, recorded_at, amended (times), data. Voided ones are left out."""
    rows = ledger.queries.log(batch=batch, most=2000)
    found: dict[int, dict[str, Any]] = {}
    for row in records(rows):
        data = json.loads(row["payload"])
        position = int(row["position"])
        if row["name"] == "ledger.voided":
            found.pop(int(data["origin"]), None)
        elif row["name"] == "ledger.amended":
            entry = found.get(int(data["origin"]))
            if entry is not None:
                entry |= {
                    "amended": entry["amended"] + 1,
                    "data": data["data"],
                    "day": data["data"].get("day", entry["day"]),
                    "reason": data["reason"],
                }
        elif row["name"] not in ("batch.sheet-issued", "batch.flag-answered"):
            found[position] = {"position": position, "what": entry_name(row["name"]), "day": data.get("day", ""), "by": row["recorded_by"],
                               "recorded_at": row["recorded_at"], "amended": 0, "data": data, "reason": ""}  # fmt: skip
    return list(found.values())
