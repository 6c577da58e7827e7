"""What each page costs the service, and how soon it is useful in Chromium.

`python -m benchmarks.pages [--ledger URL] [--weeks 8] [--rounds 7] [--browser]`. Without a ledger the invented shop is filled first.
Every page is timed twice: `first` after a new entry (nothing remembered) and `again` (as the next tablet asks). Bytes are the answer of the
page callback as JSON, before compression. Ratios to the Log page carry over to other machines; milliseconds do not.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import threading
import time
from statistics import median, quantiles

import plotly.utils

from dashboard import remember
from dashboard.page import pages
from dashboard.shell import render, render_filters
from ledger.application.ledger import Ledger, open_ledger
from seeds.shop import fill


def measure(ledger: Ledger, rounds: int) -> list[tuple[str, float, float, float, int]]:
    """(path, first median ms, first p95 ms, again median ms, bytes) of every page."""
    done = []
    for page in pages():
        first, again, size = [], [], 0
        for number in range(rounds + 1):
            remember._kept.clear()
            for kept in (first, again):
                began = time.perf_counter()
                render_filters(ledger, page.path, "")
                content = render(ledger, page.path, "")
                text = json.dumps(content, cls=plotly.utils.PlotlyJSONEncoder)
                if number:  # the first round warms up
                    kept.append((time.perf_counter() - began) * 1e3)
                size = len(text)
        done.append((page.path, median(first), quantiles(first, n=20)[18], median(again), size))
    return done


def paint(ledger: Ledger) -> list[tuple[str, float]]:
    """Milliseconds from asking for a page to its content standing on the screen, browser cache warm."""
    import uvicorn
    from playwright.sync_api import sync_playwright

    from dashboard.app import create_app

    server = uvicorn.Server(uvicorn.Config(create_app(ledger), port=8199, log_level="error"))
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    done = []
    with sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        tab = browser.new_page()
        for page in pages():
            times = []
            for _ in range(4):
                began = time.perf_counter()
                tab.goto(f"http://127.0.0.1:8199{page.path}")
                tab.wait_for_selector("#page > *")
                times.append((time.perf_counter() - began) * 1e3)
            done.append((page.path, median(times[1:])))
        browser.close()
    server.should_exit = True
    return done


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ledger", default="")
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--browser", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        url = given.ledger or f"sqlite:///{place}/shop.sqlite"
        if not given.ledger:
            fill(url, weeks=given.weeks)
        ledger = open_ledger(url)
        print(f"{ledger.queries.as_of().position} entries")
        found = measure(ledger, given.rounds)
        log = next(first for path, first, *_rest in found if path == "/log")
        for path, first, p95, again, size in found:
            print(
                f"{path:8} first {first:7.1f} ms (p95 {p95:7.1f}), again {again:6.1f} ms, {size / 1024:7.1f} KiB, {first / log:5.1f} x Log"
            )
        if given.browser:
            for path, ms in paint(ledger):
                print(f"{path:8} useful after {ms:7.0f} ms")
        ledger.close()


if __name__ == "__main__":
    main()
