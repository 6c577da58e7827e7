"""Permanent names of events: what the ledger file calls them, for ever.

A class may be renamed or moved; the name it is stored under may not. The name is a fixed string given beside the class,
never derived from its path. This module holds the one registry; it knows nothing of databases or JSON.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from typing import NamedTuple, TypeVar

T = TypeVar("T")

_PATTERN = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*(\.[a-z][a-z0-9]*(-[a-z0-9]+)*)+")
_by_class: dict[type, StoredName] = {}
_by_name: dict[str, type] = {}


class StoredName(NamedTuple):
    """The name an event is stored under and the number of its present shape (1, 2, 3 ...)."""

    name: str
    version: int


def stored_as(name: str, *, version: int = 1) -> Callable[[type[T]], type[T]]:
    """Give an event class its permanent stored name.

    Put it above ``@dataclass(frozen=True, slots=True, kw_only=True)``. ``name`` is lower-case words with hyphens,
    parted
    by dots (``batch.cooked``). ``version`` counts shapes: raise it only together with an upcaster
    (``ledger/store/upcasters.py``) and a golden sample; a new field with a default needs neither.

    Raises ValueError for a name already taken or badly spelled, TypeError for a class that is not such a dataclass.
    Both are mistakes in the program and stop it at import.
    """
    if not _PATTERN.fullmatch(name):
        raise ValueError(f"{name!r} cannot be a stored name: use lower-case words parted by dots, like 'batch.cooked'")
    if version < 1:
        raise ValueError(f"{name}: the version is {version}, it must be 1 or more")

    def register(cls: type[T]) -> type[T]:
        _require_event_dataclass(cls, name)
        other = _by_name.get(name)
        if other is not None:
            raise ValueError(
                f"{name!r} is taken by {other.__module__}.{other.__qualname__}; a stored name is used once"
            )
        _by_class[cls] = StoredName(name, version)
        _by_name[name] = cls
        return cls

    return register


def name_of(cls: type) -> str:
    """The stored name of an event class; raises KeyError for a class without one."""
    return _registered(cls).name


def version_of(cls: type) -> int:
    """The number of the present shape of an event class; raises KeyError for a class without a stored name."""
    return _registered(cls).version


def class_of(name: str) -> type:
    """The event class stored under ``name``; raises KeyError for a name this program does not know."""
    return _by_name[name]


def all_names() -> tuple[str, ...]:
    """Every stored name that has been registered by the modules imported so far, sorted."""
    return tuple(sorted(_by_name))


def registered(cls: type) -> StoredName:
    """Name and version together (one look-up); raises KeyError for a class without a stored name."""
    return _registered(cls)


def _registered(cls: type) -> StoredName:
    try:
        return _by_class[cls]
    except KeyError:
        raise KeyError(f"{cls.__module__}.{cls.__qualname__} has no stored name: add @stored_as above it") from None


def _require_event_dataclass(cls: type, name: str) -> None:
    wanted = f"{name}: {cls.__qualname__} must be a @dataclass(frozen=True, slots=True, kw_only=True)"
    if not is_dataclass(cls):
        raise TypeError(f"{wanted} (put @stored_as above @dataclass)")
    params = cls.__dataclass_params__  # type: ignore[attr-defined]
    if not params.frozen or "__slots__" not in cls.__dict__ or not all(field.kw_only for field in fields(cls)):
        raise TypeError(wanted)
