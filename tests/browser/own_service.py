"""`python -m tests.browser.own_service LEDGER PORT CLOCK [endless]`: the service with a clock read from a file, so that a journey can let weeks pass, and
where asked with an effort that takes hours: the planner is the real one, and a plan there ends because somebody stops it or not at all."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import uvicorn

from dashboard.app import create_app
from ledger.application.season_settings import EFFORTS

ENDLESS = {"moves": 1_000_000_000, "enough_ppm": -1_000_000}
"""Moves no machine makes in a day, and no plan is ever near enough to the bound."""


def main(url: str, port: str, clock: str, *endless: str) -> None:
    """Serve until terminated."""
    if endless:
        EFFORTS["normal"] = replace(EFFORTS["normal"], **ENDLESS)
    now = Path(clock)
    app = create_app(url, clock=lambda: datetime.fromisoformat(now.read_text().strip()))
    uvicorn.run(app, host="127.0.0.1", port=int(port), log_level="warning", access_log=False)


if __name__ == "__main__":
    main(*sys.argv[1:])
