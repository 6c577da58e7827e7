"""What each page costs the service, how much it sends, and how soon it is useful in Chromium.

    python -m benchmarks.pages [--ledger URL] [--weeks N] [--events 1000000] [--rounds 15] [--browser]

Without a ledger the invented shop is filled first: its three years, `--weeks` of it, or with `--events` so many entries (`grown.py`).
Both callbacks of a page are asked through the whole service as a browser asks them: `page` what stands on it, `fields` what stands above.
`first` is with nothing remembered, as after a new entry; `again` as the next tablet asks. CPU time of the process is measured, since the
machine may be busy with other things; wall time stands beside it. Bytes are what goes over the wire, compressed and not. Ratios to the
Log page carry over to other machines; milliseconds do not.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles
from typing import Any

import httpx
from fastapi import FastAPI

from benchmarks.grown import grown
from dashboard import remember
from dashboard.app import create_app
from dashboard.page import pages
from ledger.application.ledger import open_ledger
from seeds.shop import fill

ADDRESS = ("pathname", "search")
FIELDS = ("filters.children", "title.children", "menu.children")
PAGE = ("page.children", "as-of.children", "shop-name.children")


@dataclass(slots=True)
class Cost:
    """Milliseconds of one callback, each round: CPU and wall of the first time, CPU of the next; and bytes."""

    first: list[float] = field(default_factory=list)
    wall: list[float] = field(default_factory=list)
    again: list[float] = field(default_factory=list)
    sent: int = 0
    whole: int = 0


def body(outputs: tuple[str, ...], path: str, *, position: bool) -> dict[str, Any]:
    """What a browser sends for a callback of the frame."""
    inputs: list[dict[str, Any]] = [
        {"id": "address", "property": name, "value": path if name == "pathname" else ""} for name in ADDRESS
    ]
    if position:
        inputs.append({"id": "position", "property": "data", "value": 1})
    made = [dict(zip(("id", "property"), text.split("."), strict=True)) for text in outputs]
    return {"output": f"..{'...'.join(outputs)}..", "outputs": made, "inputs": inputs, "state": [], "changedPropIds": ["address.pathname"]}  # fmt: skip


async def measure(app: FastAPI, rounds: int) -> dict[tuple[str, str], Cost]:
    """The cost of both callbacks of every page."""
    found: dict[tuple[str, str], Cost] = {}
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://shop") as client:
        for page in pages():
            for what, outputs in (("fields", FIELDS), ("page", PAGE)):
                asked = body(outputs, page.path, position=what == "page")
                cost = found[page.path, what] = Cost()
                for number in range(rounds + 1):
                    remember._kept.clear()
                    for times in (cost.first, cost.again):
                        began, worked = time.perf_counter(), time.process_time()
                        async with client.stream("POST", "/_dash-update-component", json=asked) as answer:
                            raw = b"".join([part async for part in answer.aiter_raw()])
                        used, took = time.process_time() - worked, time.perf_counter() - began
                        assert answer.status_code == 200, (page.path, what, answer.status_code)
                        if number:  # the first round warms up
                            times.append(used * 1e3)
                            if times is cost.first:
                                cost.wall.append(took * 1e3)
                        cost.sent = len(raw)
                cost.whole = len((await client.post("/_dash-update-component", json=asked)).content)
    return found


def paint(app: FastAPI) -> list[tuple[str, float, float]]:
    """Of every page, browser cache warm: milliseconds to the first contentful paint, and to its content standing on the screen."""
    import uvicorn
    from playwright.sync_api import sync_playwright

    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port = asked.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    done = []
    with sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        tab = browser.new_page()
        for page in pages():
            painted, useful = [], []
            for _ in range(6):
                remember._kept.clear()
                tab.goto(f"http://127.0.0.1:{port}{page.path}")
                tab.wait_for_selector("#page > *")
                useful.append(tab.evaluate("performance.now()"))
                painted.append(
                    tab.evaluate(
                        "(performance.getEntriesByName('first-contentful-paint')[0] || {startTime: NaN}).startTime"
                    )
                )
            done.append((page.path, median(painted[1:]), median(useful[1:])))
        browser.close()
    server.should_exit = True
    return done


@contextmanager
def a_ledger(url: str, weeks: int, events: int) -> Iterator[str]:
    """The ledger asked for: one that is there, or the shop filled into a place that is cleared away after."""
    if url:
        yield url
        return
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / "shop.sqlite"
        if events:
            grown(file, events)
        elif weeks:
            fill(f"sqlite:///{file}", weeks=weeks)
        else:
            fill(f"sqlite:///{file}")
        yield f"sqlite:///{file}"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--ledger", default="")
    parser.add_argument("--weeks", type=int, default=0)
    parser.add_argument("--events", type=int, default=0)
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--browser", action="store_true")
    given = parser.parse_args()
    with a_ledger(given.ledger, given.weeks, given.events) as url:
        ledger = open_ledger(url)
        app = create_app(ledger)
        gc.collect()
        gc.freeze()  # as the service does when it starts
        print(f"{ledger.queries.as_of().position:,} entries")
        found = asyncio.run(measure(app, given.rounds))
        log = median(found["/log", "page"].first)
        print(
            f"{'':17} {'first, CPU ms':>15} {'p95':>6} {'wall':>6} {'again':>6} {'KiB sent':>9} {'whole':>7} {'x Log':>6}"
        )
        for (path, what), cost in found.items():
            middle, p95 = median(cost.first), quantiles(cost.first, n=20)[18]
            print(f"{path:9} {what:7} {middle:15.1f} {p95:6.1f} {median(cost.wall):6.1f} {median(cost.again):6.1f} "
                  f"{cost.sent / 1024:9.1f} {cost.whole / 1024:7.1f} {middle / log:6.1f}")  # fmt: skip
        if given.browser:
            for path, painted, useful in paint(app):
                print(f"{path:9} first paint after {painted:6.0f} ms, useful after {useful:6.0f} ms")
        ledger.close()


if __name__ == "__main__":
    main()
