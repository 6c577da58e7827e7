"""Where the samples lie, and which events are there to be sampled."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

from ledger.domain import stored_names
from ledger.domain.samples import SAMPLES
from ledger.store.codec import encode

FOLDER = Path(__file__).parent / "events"


def released_names() -> list[str]:
    """Every stored name of the product: tests and benchmarks make some for themselves."""
    import_module("ledger.domain.all_events")
    return [name for name in stored_names.all_names() if not name.startswith(("test.", "bench."))]


def current_samples() -> list[Any]:
    """One event of every present shape."""
    released_names()
    return list(SAMPLES)


def file_of(name: str, version: int) -> Path:
    """The file that keeps the sample of a shape."""
    return FOLDER / f"{name}.v{version}.json"


def write_missing() -> list[Path]:
    """Write a file for each sample whose shape has none; files that are there are never touched."""
    written = []
    FOLDER.mkdir(exist_ok=True)
    for event in current_samples():
        name, version = stored_names.registered(type(event))
        path = file_of(name, version)
        if not path.exists():
            path.write_bytes(encode(event) + b"\n")
            written.append(path)
    return written
