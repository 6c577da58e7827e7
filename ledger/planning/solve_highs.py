"""The bound and, on small problems, the proof: HiGHS on the linear program with our inequalities.

HiGHS keeps one thread pool a process, so one number of threads is used everywhere. Limits are rounds and nodes, never
seconds, so the same problem gives the same answer. A solver that stops at its limit still returns a plan: the answer says
what is proven, not "optimal".
"""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from math import floor
from threading import Lock
from typing import Any

import highspy
import numpy as np

from ledger.errors import SlabbookError
from ledger.planning.arrays import Arrays
from ledger.planning.cost import Table, cost_table, fits
from ledger.planning.cuts import Cut, Separator
from ledger.planning.model import INF, Floats, Program, build, point
from ledger.planning.priced import raised
from ledger.planning.rules import Room

THREADS = 1
DEVEX = 1
"""Edge weights that need no working out anew whenever rows are added (half the time of the rounds on 60 items by 52 weeks)."""
LITTLE = 2e-5
"""Rounds of inequalities end when one raises the bound by less than this share of it."""


class SolverFailed(SlabbookError):
    """The solver gave no usable answer; the plan found without it stands."""

    code = "planning.solver-failed"


@dataclass(slots=True)
class Bound:
    """What the linear program says: a proven lower bound (milli), its point, and what one more of each limit is worth.

    ``alone``: each item's best batches under the prices of the linear program (-1: not worked out), None where not asked.
    ``rounds``: rounds of inequalities. ``hour_of_hands``: minor units that an hour more of hands in a week, and in no other,
    would save, by week (0 where not asked). ``hour_of_station``: the same by station and week.
    """

    milli: int
    values: Floats
    rounds: int
    cuts: list[Cut]
    hour_of_hands: list[float]
    hour_of_station: dict[str, list[float]]
    alone: Table | None = None


_banner_spoken = False
_one_at_a_time = Lock()


def _new_solver() -> Any:
    """A solver; the first one of a process would print a banner to standard output before any option can silence it."""
    global _banner_spoken
    with _one_at_a_time:
        if _banner_spoken:
            return highspy.Highs()  # type: ignore[no-untyped-call]
        with _nothing_to_standard_output():
            h = highspy.Highs()  # type: ignore[no-untyped-call]
            if os.name == "posix":
                ctypes.CDLL(None).fflush(None)
        _banner_spoken = True
        return h


@contextmanager
def _nothing_to_standard_output() -> Iterator[None]:
    """Descriptor 1 leads nowhere inside the block, and afterwards where it led before; also where there is none (a service, a window program)."""
    if sys.stdout is not None:
        with suppress(OSError, ValueError):
            sys.stdout.flush()
    try:
        kept: int | None = os.dup(1)
    except OSError:
        kept = None
    nowhere = os.open(os.devnull, os.O_WRONLY)  # this is descriptor 1 itself where that was free
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        if kept is None:
            os.close(1)
        else:
            os.dup2(kept, 1)
            os.close(kept)
        if nowhere != 1:
            os.close(nowhere)


def _solver(m: Program, whole: bool) -> Any:
    h = _new_solver()
    h.setOptionValue("output_flag", False)
    h.setOptionValue("threads", THREADS)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(m.price), len(m.row_low)
    lp.col_cost_ = np.array(m.price)
    lp.col_lower_, lp.col_upper_ = np.array(m.low), np.array(m.high)
    lp.row_lower_, lp.row_upper_ = np.array(m.row_low), np.array(m.row_high)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.array(m.starts, dtype=np.int32)
    lp.a_matrix_.index_ = np.array(m.columns, dtype=np.int32)
    lp.a_matrix_.value_ = np.array(m.values)
    if whole:
        kinds = [highspy.HighsVarType.kInteger if w else highspy.HighsVarType.kContinuous for w in m.whole]
        lp.integrality_ = kinds
    if h.passModel(lp) == highspy.HighsStatus.kError:
        raise SolverFailed("the solver refused the model", columns=len(m.price), rows=len(m.row_low))
    return h


def _add(h: Any, cuts: list[Cut]) -> None:
    starts: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    for _, entries in cuts:
        starts.append(len(columns))
        for column, value in entries:
            columns.append(column)
            values.append(value)
    count = len(cuts)
    h.addRows(
        count,
        np.array([least for least, _ in cuts]),
        np.full(count, INF),
        len(columns),
        np.array(starts, dtype=np.int32),
        np.array(columns, dtype=np.int32),
        np.array(values),
    )


def least(m: Program) -> tuple[float, Floats]:
    """Least price of any program and where it lies, whole columns whole; SolverFailed when there is none."""
    h = _solver(m, whole=any(m.whole))
    h.setOptionValue("mip_rel_gap", 0.0)
    h.run()
    if h.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        raise SolverFailed(f"no least price was found: {h.modelStatusToString(h.getModelStatus())}")
    return float(h.getInfo().objective_function_value) + m.constant, np.array(h.getSolution().col_value)


def bound(
    a: Arrays, *, rounds: int = 25, alone: bool = True, hours: bool = False, stop: Callable[[], bool] | None = None
) -> Bound:
    """Solve the relaxation, add broken inequalities, solve again from its basis; at most ``rounds`` times.

    ``alone``: then plan each item exactly by itself under the relaxation's prices (``priced.py``), which raises the bound.
    ``hours``: also say what an hour more of each limit that binds would save. ``stop``: asked between all of these; true ends them, and
    what is proven by then is given.
    """
    m = build(a)
    h = _solver(m, whole=False)
    h.setOptionValue("simplex_dual_edge_weight_strategy", DEVEX)
    separator, all_cuts = Separator(a, m), []
    done, before = 0, -INF
    while True:
        h.run()
        if h.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise SolverFailed(f"the bound was not found: {h.modelStatusToString(h.getModelStatus())}", rounds=done)
        worth = h.getInfo().objective_function_value
        values = np.array(h.getSolution().col_value)
        if done >= rounds or (stop is not None and stop()):
            break
        cuts = separator.find(values)
        if not cuts or (done > 4 and worth - before < LITTLE * abs(worth)):
            break
        before = worth
        _add(h, cuts)
        all_cuts += cuts
        done += 1
    duals = np.array(h.getSolution().row_dual)
    more, table = raised(a, m, values, duals, rounded(a, m, values), stop) if alone else (0.0, None)
    hour = _hours(h, m, worth, duals, stop) if hours else {}
    return Bound(
        milli=_safe(worth + m.constant + more),
        values=values,
        rounds=done,
        cuts=all_cuts,
        hour_of_hands=[hour.get(row, 0.0) for row in m.hands_row],
        hour_of_station={name: [hour.get(rows[s], 0.0) for rows in m.station_row] for s, name in enumerate(a.stations)},
        alone=table,
    )


def _hours(h: Any, m: Program, worth: float, duals: Floats, stop: Callable[[], bool] | None = None) -> dict[int, float]:
    """What 60 minutes more of each row that binds would save (minor units), each by itself, solved again from the basis there is."""
    rows = [
        row for row in [*m.hands_row, *(r for rows in m.station_row for r in rows)] if row >= 0 and duals[row] < -1e-9
    ]
    saved = {}
    for row in rows:
        if stop is not None and stop():
            break
        h.changeRowBounds(row, m.row_low[row], m.row_high[row] + 60)
        h.run()
        if h.getModelStatus() == highspy.HighsModelStatus.kOptimal:
            saved[row] = max(0.0, worth - float(h.getInfo().objective_function_value))
        h.changeRowBounds(row, m.row_low[row], m.row_high[row])
    return saved


def _safe(minor: float) -> int:
    """A float optimum as a bound in milli that rounding cannot make too high."""
    return floor((minor - 1e-7 * abs(minor) - 1e-6) * 1000)


def rounded(a: Arrays, m: Program, values: Floats) -> Table:
    """The bound's point made whole: each item's cumulative batches rounded, kept only while they fit."""
    room = Room(a)
    wanted = []
    for i, ways in enumerate(a.ways):
        owed, frozen = dict.fromkeys(ways, 0.0), {j: sum(a.least[j]) for j in ways}
        for t in range(a.end[i] + 1):
            for j in ways:
                owed[j] += float(values[m.x[j][t]]) if m.x[j][t] >= 0 else 0.0
            while True:
                j = max(ways, key=lambda way: owed[way])
                if sum(owed[k] * a.batch[k] for k in ways) <= 0.55 * a.batch[j] or owed[j] <= 0:
                    break
                owed[j] -= 1
                if frozen[j]:
                    frozen[j] -= 1
                else:
                    wanted.append((t, -a.lost[i], j))
    return _fitted(a, room, wanted)


def together(a: Arrays, lp: Bound) -> Table:
    """Each item's best batches by itself (those of the bound's point where that is not known), kept only while they fit."""
    assert lp.alone is not None
    room, from_point = Room(a), rounded(a, build(a), lp.values)
    wanted = []
    for j, row in enumerate(lp.alone):
        mine = from_point[j] if row and row[0] < 0 else row
        wanted += [(t, -a.lost[a.of[j]], j) for t in range(a.weeks) for _ in range(mine[t] - a.least[j][t])]
    return _fitted(a, room, wanted)


def _fitted(a: Arrays, room: Room, wanted: list[tuple[int, int, int]]) -> Table:
    """Wanted batches (week, how dear to miss, way), each in its week, pulled ahead or later, in its own kettle or another."""
    for t, _, j in sorted(wanted):
        room.place([j, *(k for k in a.ways[a.of[j]] if k != j)], t, t)
    return room.table


@dataclass(slots=True)
class Proof:
    """What branch and bound added: the best plan, a lower bound (milli) and the nodes it looked at."""

    table: Table
    cost: int
    milli: int
    nodes: int


def prove(
    a: Arrays, start: Table, lp: Bound, *, gap_ppm: int, nodes: int, stop: Callable[[], bool] | None = None
) -> Proof:
    """Branch and bound from a plan, with the inequalities as rows, until the gap or the number of nodes."""
    m = build(a)
    h = _solver(m, whole=True)
    slack = [(least, entries) for least, entries in lp.cuts if _tight(lp.values, least, entries)]
    if slack:
        _add(h, slack)
    h.setOptionValue("mip_rel_gap", gap_ppm / 1e6)
    h.setOptionValue("mip_max_nodes", nodes)
    costing = cost_table(a, start)
    solution = highspy.HighsSolution()
    solution.col_value = list(point(m, a, start, costing))
    h.setSolution(solution)
    if stop is not None:
        h.HandleUserInterrupt = True
        h.cbMipInterrupt.subscribe(lambda event: _maybe_stop(event, stop))
    h.run()
    info = h.getInfo()
    best, cost = [list(row) for row in start], costing.total
    answer = np.array(h.getSolution().col_value)
    if answer.size == len(m.price) and info.primal_solution_status == 2:
        table = [[round(float(answer[c])) if c >= 0 else 0 for c in row] for row in m.x]
        found = cost_table(a, table)
        if fits(a, table) and found.total < cost:
            best, cost = table, found.total
    proven = _safe(info.mip_dual_bound + m.constant) if abs(info.mip_dual_bound) < INF else lp.milli
    return Proof(best, cost, min(cost, max(lp.milli, proven)), int(info.mip_node_count))


def _maybe_stop(event: Any, stop: Callable[[], bool]) -> None:
    if stop():
        event.data_in.user_interrupt = True


def _tight(values: Floats, least: float, entries: list[tuple[int, float]]) -> bool:
    total = sum(value * values[column] for column, value in entries)
    return bool(total - least < 1e-3 * max(1.0, abs(least)))
