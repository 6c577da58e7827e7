"""Where the samples lie, and which events are there to be sampled."""

from __future__ import annotations

from importlib import import_module, util
from itertools import count
from pathlib import Path
from typing import Any

import msgspec
from msgspec import inspect

from ledger.domain import stored_names
from ledger.store.codec import decode, encode

FOLDER = Path(__file__).parent / "events"


def released_names() -> list[str]:
    """Every stored name of the product: tests and benchmarks make some for themselves."""
    import_module("ledger.domain.all_events")
    return [name for name in stored_names.all_names() if not name.startswith(("test.", "bench."))]


def current_samples() -> list[Any]:
    """One event or more of every present shape: those the domain offers, and for the rest one with every field
    filled.
    """
    offered: list[Any] = []
    if util.find_spec("ledger.domain.samples") is not None:
        offered = list(import_module("ledger.domain.samples").SAMPLES)
    there = {stored_names.name_of(type(event)) for event in offered}
    return offered + [filled(name) for name in released_names() if name not in there]


def filled(name: str) -> Any:
    """An event with every field filled with something told apart: numbers count up, texts say which field they are
    in.
    """
    cls = stored_names.class_of(name)
    numbers = count(1)

    def value(kind: inspect.Type, field: str) -> Any:
        match kind:
            case inspect.DataclassType(fields=fields):
                return {one.encode_name: value(one.type, one.encode_name) for one in fields}
            case inspect.UnionType(types=types):
                return value(next(one for one in types if not isinstance(one, inspect.NoneType)), field)
            case inspect.ListType(item_type=item) | inspect.VarTupleType(item_type=item):
                return [value(item, field)]
            case inspect.TupleType(item_types=items):
                return [value(item, field) for item in items]
            case inspect.DictType(value_type=item):
                return {"key": value(item, field)}
            case inspect.LiteralType(values=values):
                return values[0]
            case inspect.EnumType(cls=enum):
                return next(iter(enum)).value
            case inspect.IntType():
                return next(numbers)
            case inspect.BoolType():
                return True
            case _:
                return field

    stored = value(inspect.type_info(cls), name)
    return decode(name, stored_names.version_of(cls), msgspec.json.encode(stored))


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
