"""Measuring side by side: contenders take turns in short rounds, so that a noisy machine disturbs all of them alike.

Only ratios inside one run carry over to another machine.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from statistics import median, quantiles


@dataclass(slots=True)
class Contender:
    """Something measured: ``once(n)`` does the n-th operation."""

    name: str
    once: Callable[[int], object]
    seconds: list[float] = field(default_factory=list)
    done: int = 0

    def run(self, times: int, *, keep: bool = True) -> None:
        """Do the next ``times`` operations, timing each."""
        clock = time.perf_counter
        for _ in range(times):
            began = clock()
            self.once(self.done)
            took = clock() - began
            self.done += 1
            if keep:
                self.seconds.append(took)

    @property
    def p50(self) -> float:
        """The middle duration in seconds."""
        return median(self.seconds)


def take_turns(contenders: Iterable[Contender], *, rounds: int, times: int, warm_up: int = 500) -> None:
    """Let every contender do ``times`` operations in each of ``rounds`` rounds, in turn.

    The warm-up is long enough for SQLite's write-ahead log to have come round once: while that file still grows, a
    commit costs
    more, and the contender that writes least would pay for it longest.
    """
    contenders = list(contenders)
    for contender in contenders:
        contender.run(warm_up, keep=False)
    for number in range(rounds):
        for contender in contenders if number % 2 == 0 else contenders[::-1]:
            contender.run(times)


def table(title: str, contenders: Iterable[Contender], yard_stick: Contender) -> str:
    """p50, p99 and the ratio yard-stick / contender (1: as fast; 0.5: half as fast)."""
    lines = [title, f"  {'':44} {'p50 us':>9} {'p99 us':>9} {'ratio':>7}"]
    for one in contenders:
        p99 = quantiles(one.seconds, n=100)[98]
        lines.append(
            f"  {one.name:44} {one.p50 * 1e6:9.0f} {p99 * 1e6:9.0f} {yard_stick.p50 / one.p50:7.2f}",
        )
    return "\n".join(lines)
