"""Run the service: `python -m dashboard.serve --ledger sqlite:///shop.sqlite`. The command line's `slabbook serve` calls `serve`."""

from __future__ import annotations

import argparse

import uvicorn

from dashboard.app import create_app


def serve(ledger_url: str, host: str = "127.0.0.1", port: int = 8050) -> None:
    """Serve dashboard and API on one address until stopped. Only this machine can reach 127.0.0.1; give 0.0.0.0 for the shop's network,
    and only on a network whose every device may write: there is no sign-in."""
    uvicorn.run(create_app(ledger_url), host=host, port=port, log_level="warning", access_log=False)


def main() -> None:
    """From the command line."""
    parser = argparse.ArgumentParser(description="Serve a ledger's dashboard and API.")
    parser.add_argument("--ledger", default="sqlite:///slabbook.sqlite", help="database URL")
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=8050)
    given = parser.parse_args()
    serve(given.ledger, given.host, given.port)


if __name__ == "__main__":
    main()
