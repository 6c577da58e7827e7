"""A writing process for the race and crash tests: ``python -m tests.store.writer URL WORKER COUNT``.

Appends COUNT events (0: for ever) to a stream of its own and, every third time, to one that all writers share, and
prints the
position of each after it has been acknowledged.
"""

from __future__ import annotations

import sys

from ledger.errors import Conflict
from ledger.store import Recorded, Unit, open_store
from tests.store.sugar import counted


def main(url: str, worker: int, count: int) -> None:
    """Write, and tell what was acknowledged."""
    store = open_store(url)
    print("ready", flush=True)
    sys.stdin.readline()  # all start together
    number = 0
    while count == 0 or number < count:
        stream = "shared" if number % 3 == 0 else f"worker-{worker}"

        def work(unit: Unit, stream: str = stream, number: int = number) -> Recorded:
            version = unit.version(stream)
            return unit.append(
                counted(
                    stream,
                    number,
                    command=f"{worker}.{number}",
                    expected_version=version,
                    event_id=f"{worker}.{number}",
                )
            )

        try:
            recorded = store.run(work)
        except Conflict as error:  # cannot be: the version was read in the same unit
            print("conflict", error, flush=True)
            raise
        print(recorded.position, flush=True)
        number += 1
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
