"""Tasks that share stations and hands, and a timetable of them: what the day check is told and what it answers. Minutes throughout."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """This task starts after task number ``task`` ends, at most ``most_wait`` minutes later (None: any wait)."""

    task: int
    most_wait: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A step: minutes, what it takes of each resource, what it waits for, the earliest start, and its colour family.

    ``job``: number of the batch; ``family`` matters where a station needs a clean-down between families.
    """

    minutes: int
    needs: Mapping[str, int] = field(default_factory=dict)
    after: tuple[After, ...] = ()
    job: int = 0
    earliest: int = 0
    latest_start: int | None = None
    family: str = ""


@dataclass(frozen=True, slots=True)
class Timetable:
    """Start of each task, the finish, how it was found, and whether the finish is proven least."""

    starts: tuple[int, ...]
    finish: int
    method: str
    proven: bool
