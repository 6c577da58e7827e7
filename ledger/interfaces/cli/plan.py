"""`slabbook demo` and `slabbook serve`: the invented shop, and the service most users open."""

from __future__ import annotations

import click

from ledger.errors import Refused
from ledger.interfaces.cli.context import Shop, as_url, console, pass_shop
from ledger.interfaces.cli.upkeep import progress_bar


@click.command("demo")
@click.option("--years", default=3, show_default=True, help="How many years of history.")
@click.option("--weeks", default=0, help="Only so many weeks (quicker).")
@click.option("--seed", default=7, show_default=True, help="The same seed gives the same shop.")
@pass_shop
def demo(shop: Shop, years: int, weeks: int, seed: int) -> None:
    """Fill an empty ledger with the invented shop."""
    from seeds.shop import fill

    if shop.ledger.queries.as_of().position:
        raise Refused(
            "This ledger has entries already; the invented shop goes into an empty one. Name a new file with --ledger."
        )
    with progress_bar("Making three years of candy" if not weeks else "Making some weeks of candy") as step:
        told = fill(as_url(shop.url), seed=seed, years=years, weeks=weeks, progress=step)
    console().print(
        f"Invented shop: {told['events']} entries, {told['batches']} batches, {told['packs_sold']} packs sold, "
        f"{told['first_day']} to {told['last_day']}."
    )


@click.command("serve")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on (0.0.0.0: tablets in the shop's network).",
)
@click.option("--port", default=8050, show_default=True, help="Port to listen on.")
@pass_shop
def serve(shop: Shop, host: str, port: int) -> None:
    """Serve the dashboard and the API on one address."""
    import uvicorn

    from dashboard.app import create_app

    app = create_app(shop.ledger)
    console().print(f"Slabbook is at http://{'localhost' if host == '127.0.0.1' else host}:{port} (stop with Ctrl-C)")
    uvicorn.run(app, host=host, port=port, log_level="warning", access_log=False)


COMMANDS: tuple[click.Command, ...] = (demo, serve)
