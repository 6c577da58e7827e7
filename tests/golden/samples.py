"""Where the samples lie, and which events are there to be sampled."""

from __future__ import annotations

from importlib import import_module, util
from pathlib import Path
from typing import Any

from ledger.domain import stored_names
from ledger.store.codec import encode

FOLDER = Path(__file__).parent / "events"


def current_samples() -> list[Any]:
    """The sample events of the present program; none before the domain offers any."""
    if util.find_spec("ledger.domain.samples") is None:
        return []
    return list(import_module("ledger.domain.samples").SAMPLES)


def released_names() -> list[str]:
    """Every stored name but those that tests make for themselves."""
    current_samples()
    return [name for name in stored_names.all_names() if not name.startswith("test.")]


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
