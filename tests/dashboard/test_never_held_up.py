"""A slow callback on one tablet does not hold up another: the heavy part of each runs in a thread, never on the event loop.

A gate stands in for the heavy part. It opens when another tablet was answered meanwhile; on the loop it never would.
"""

from __future__ import annotations

import asyncio
import json
import threading
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from dashboard import shell
from dashboard.app import create_app
from dashboard.components import season_callbacks as season
from dashboard.pages import sheet
from ledger.application.ledger import Ledger

PATIENCE = 5.0
"""Seconds after which a gate gives up, so that heavy work on the loop fails the test instead of hanging it."""


class Gate:
    """Stands in for heavy work and knows whether anybody else was served while it was at it."""

    def __init__(self) -> None:
        self.entered, self.answered = threading.Event(), threading.Event()
        self.served_meanwhile = False

    def __call__(self, *_given: Any, **_named: Any) -> Any:
        self.entered.set()
        self.served_meanwhile = self.answered.wait(PATIENCE)
        raise RuntimeError("the heavy work ends here")


HEAVY = {
    "a page is drawn": ("page.children", shell, "render", {"position.data": 1, "address.pathname": "/week"}),
    "filters are drawn": ("filters.children", shell, "render_filters", {"address.pathname": "/week"}),
    "a tablet asks what is new": ("position.data", shell, "poll", {"tick.n_intervals": 1}),
    "a slider of the sheet moves": ("sheet-answer.children", sheet, "answer", {"packs.value": 40}),
    "a sheet is issued": ("sheet-told.children", sheet, "issue", {"sheet-issue.n_clicks": 1}),
    "a plan is begun": ("season-version.data", season, "act", {"season-make.n_clicks": 1}),
    "a figure of the plan is taken back": ("season-edit.children", season, "act", {"season-undo.n_clicks": 1}),
    "a plan is shown": ("season-top.children", season, "top", {"season-version.data": 1, "season-base.data": -5}),
    "a batch is opened from the plan": ("season-next.children", season, "open_batch", {"season-open.n_clicks": 1}),
    "a season's fact is noted": ("fact-told.children", season, "note", {"fact-go.n_clicks": 1}),
}
"""What happens: an output of the callback, where its heavy part lives, and what is given to it."""


def body_of(entry: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    """What a browser would send for a callback of `/_dash-dependencies`, with some values given, the rest empty."""
    changed: list[str] = []

    def filled(part: dict[str, str]) -> Any:
        plain = part["id"] if not part["id"].startswith("{") else json.loads(part["id"])
        name = (
            plain
            if isinstance(plain, str)
            else plain.get("name")
            if isinstance(plain.get("name"), str)
            else plain["type"]
        )
        value = given.get(f"{name}.{part['property']}")
        every = isinstance(plain, dict) and any(v == ["ALL"] for v in plain.values())
        one = {k: "1" if v == ["ALL"] else v for k, v in plain.items()} if isinstance(plain, dict) else plain
        if value is not None:
            said = json.dumps(one, sort_keys=True, separators=(",", ":")) if isinstance(one, dict) else one
            changed.append(f"{said}.{part['property']}")
        found = {"id": one, "property": part["property"], "value": value}
        return [found] if every else found

    inputs, state = [filled(p) for p in entry["inputs"]], [filled(p) for p in entry["state"]]
    texts = entry["output"].strip(".").split("...")
    outputs = []
    for text in texts:
        id_, _, prop = text.rpartition(".")
        outputs.append({"id": json.loads(id_) if id_.startswith("{") else id_, "property": prop.partition("@")[0]})
    return {"output": entry["output"], "outputs": outputs if entry["output"].startswith("..") else outputs[0],
            "inputs": inputs, "state": state, "changedPropIds": changed}  # fmt: skip


async def two_tablets(app: FastAPI, gate: Gate, output: str, given: dict[str, Any]) -> int:
    """One tablet sets off the heavy work, another asks for a page; gives the status the second one got."""
    transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://shop") as client:
        known = (await client.get("/_dash-dependencies")).json()
        entry = next(e for e in known if not e["clientside_function"] and output in e["output"].strip(".").split("..."))
        slow = asyncio.create_task(client.post("/_dash-update-component", json=body_of(entry, given)))
        await asyncio.to_thread(gate.entered.wait, PATIENCE)
        other = await client.get("/log")
        gate.answered.set()
        await slow
        return other.status_code


@pytest.mark.parametrize("what", HEAVY)
def test_another_tablet_is_answered_while(what: str, demo: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    output, place, name, given = HEAVY[what]
    gate = Gate()
    monkeypatch.setattr(place, name, gate)
    assert asyncio.run(two_tablets(create_app(demo), gate, output, given)) == 200
    assert gate.entered.is_set(), f"{name} was never asked"
    assert gate.served_meanwhile, f"{name} ran on the event loop"
