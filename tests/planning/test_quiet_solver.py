"""The solver's banner never reaches standard output, and a process without one can plan all the same."""

from __future__ import annotations

import subprocess
import sys

import pytest

TWO_SOLVERS = """
from ledger.planning.solve_highs import _new_solver
for _ in range(2):
    assert _new_solver().getInfinity() > 1e300
"""
NO_DESCRIPTOR = "import os, sys; os.close(1); sys.stdout = None"
STILL_NONE = """
try:
    os.fstat(1)
except OSError:
    pass
else:
    raise SystemExit("descriptor 1 was left open")
"""


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("import os", "os.write(1, b'the answer')", "the answer"),
        (NO_DESCRIPTOR, STILL_NONE, ""),
        (NO_DESCRIPTOR + "; os.close(0)", STILL_NONE, ""),
        ("import os, sys; sys.stdout.close()", "", ""),
    ],
    ids=["a terminal", "a service without one", "no input either", "a closed stream"],
)
def test_a_solver_starts_in_silence(before: str, after: str, said: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", f"{before}\n{TWO_SOLVERS}\n{after}"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, said, "")
