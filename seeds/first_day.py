"""One day in a workshop, to type along with: `first_day.txt` holds the commands of the tutorial, `first_day.toml` its book."""

from __future__ import annotations

import shlex
from pathlib import Path

from ledger.interfaces.cli.main import cli

HERE = Path(__file__).parent
BOOK = HERE / "first_day.toml"
LINES = HERE / "first_day.txt"


def lines() -> list[str]:
    """The day's commands as a person types them, `slabbook` first."""
    return [line for line in LINES.read_text(encoding="utf-8").splitlines() if line.strip()]


def arguments(line: str) -> list[str]:
    """A typed line as arguments of `slabbook`; the book's file is found wherever this package lies."""
    words = shlex.split(line)[1:]
    return [str(BOOK) if word.replace("\\", "/") == "seeds/first_day.toml" else word for word in words]


def record(ledger: str, by: str = "MK") -> int:
    """Record the whole day in the ledger at `ledger` (a file or address, empty before), dated today. The number of commands.

    Raises what the commands raise; those before it stay recorded.
    """
    done = lines()
    for line in done:
        cli.main(args=["--ledger", ledger, "--by", by, *arguments(line)], prog_name="slabbook", standalone_mode=False)
    return len(done)
