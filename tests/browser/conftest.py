"""A real service on a port of its own, a small demo ledger, and Debian's Chromium."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.application.ledger import Ledger, open_ledger
from seeds.shop import fill

PATIENCE_MS = 90_000
"""Two browsers share the machine with their servers; a page that is late is not a page that is wrong."""
CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run", "--disable-default-apps", "--disable-extensions",
]  # fmt: skip


@dataclass(slots=True)
class Service:
    """Where the service answers, and its ledger, read from outside."""

    address: str
    url: str

    @property
    def ledger(self) -> Ledger:
        return open_ledger(self.url)


@contextmanager
def serving(url: str, *module: str) -> Iterator[Service]:
    """A process of its own that serves a ledger, stopped afterwards. module: what `python -m` runs, with its arguments; `{port}` in them is filled in."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen([sys.executable, "-m", *(word.format(port=port) for word in module)])
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(240):
            try:
                httpx.get(f"{address}/api/v1/head", timeout=2)
                break
            except httpx.TransportError:
                time.sleep(0.25)
        yield Service(address, url)
    finally:
        process.terminate()
        process.wait(20)


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Starts `python -m dashboard.serve` over a small demo."""
    url = f"sqlite:///{tmp_path_factory.mktemp('browser')}/shop.sqlite"
    fill(url, weeks=3)
    with serving(url, "dashboard.serve", "--ledger", url, "--port", "{port}") as found:
        yield found


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if not Path(CHROMIUM).exists():
        pytest.skip(f"{CHROMIUM} is not there; install Debian's chromium package")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        plain = browser.new_context

        def patient(**given: Any) -> Any:
            context = plain(**given)
            context.set_default_timeout(PATIENCE_MS)
            return context

        browser.new_context = patient  # type: ignore[method-assign]
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The source of axe-core, installed from npm for this run."""
    if shutil.which("npm") is None:
        pytest.skip("npm is not there, so axe-core cannot be installed")
    place = tmp_path_factory.mktemp("axe")
    done = subprocess.run(
        ["npm", "install", "--no-audit", "--no-fund", "--silent", "--prefix", str(place), "axe-core@4"],
        capture_output=True,
        timeout=120,
        check=False,
    )
    source = place / "node_modules" / "axe-core" / "axe.min.js"
    if done.returncode or not source.exists():
        pytest.skip(f"npm could not install axe-core: {done.stderr.decode()[:200]}")
    return source.read_text()
