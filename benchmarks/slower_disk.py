"""What a sync of this machine's disk takes, and a run of a benchmark in which every sync takes longer."""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path
from statistics import median

SLOWED = "SLABBOOK_BENCH_SYNC_US"


def sync_cost(folder: Path, times: int = 200) -> str:
    """What the disk takes to make 8 kB durable: two pages at the end of a file, as a small commit writes them."""
    took = []
    with (folder / "sync").open("wb", buffering=0) as file:
        for _ in range(times):
            began = time.perf_counter()
            file.write(bytes(8192))
            os.fdatasync(file.fileno())
            took.append(time.perf_counter() - began)
    return f"  write and sync of 8 kB, p50 {median(took) * 1e6:.0f} us"


def on_a_slower_disk(sync_us: int, module: str) -> None:
    """Start this program again with every sync made longer; returns only inside that second run."""
    if os.environ.get(SLOWED) == str(sync_us):
        return
    tracer = shutil.which("strace")
    if tracer is None:
        sys.exit(
            "--sync-us makes syncs longer with strace, which is not here; `apt-get install strace`, or leave it out."
        )
    slower = f"inject=fdatasync,fsync:delay_exit={sync_us}"
    command = [tracer, "-f", "--seccomp-bpf", "-qq", "-e", "trace=fdatasync,fsync", "-e", slower, "-o", os.devnull]
    again = [sys.executable, "-m", module, *sys.argv[1:]]
    os.execvpe(tracer, [*command, *again], os.environ | {SLOWED: str(sync_us)})
