"""How fast is a bulk import with every rule, and the shop's own demo? ``python -m benchmarks.bulk [--sales 20000]``

Each sale goes through reading, rule, postings, kept tables, hash and tree; only the commit is shared by a thousand.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from benchmarks.full_path import shop
from ledger.application.ledger import Order
from ledger.domain.shelf.commands import Sell
from tests.support.given_when_then import DAY


def main() -> None:
    """Print events per second."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sales", type=int, default=20_000)
    sales = parser.parse_args().sales
    with tempfile.TemporaryDirectory() as folder:
        ledger = shop(f"sqlite:///{Path(folder) / 'bulk.db'}")
        started, cpu = time.perf_counter(), time.process_time()
        for first in range(0, sales, 1000):
            ledger.do_all([
                Order(Sell(day=DAY, pack="LEMON-JAR", packs=1, channel="SHOP", amount=600), "AB", f"sale-{first + n}") for n in range(1000)
            ])  # fmt: skip
        wall, used = time.perf_counter() - started, time.process_time() - cpu
        print(f"bulk import, all rules, SQLite: {sales / wall:,.0f} events/s ({sales / used:,.0f} per CPU second)")
        ledger.close()


if __name__ == "__main__":
    main()
