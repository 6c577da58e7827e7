"""The planning problem as a linear program: columns, rows and prices as arrays, ready for the solver and the inequalities.

Multi-item capacitated lot sizing with whole batches, lost sales, first-in-first-out shelf life, overtime and helpers; the
set-up is the batch itself, so there are no set-up binaries. The program is a relaxation of the exact costing in ``cost.py``:
every plan costed there is a point of the program at no higher cost, so the program's least cost is a bound. Columns are in
batches, kilograms, minutes and shifts; prices in minor units.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ledger.planning.arrays import Arrays
from ledger.planning.cost import Costing, Table

INF = 1e30
Ints = npt.NDArray[np.int32]
Floats = npt.NDArray[np.float64]


@dataclass(slots=True)
class Program:
    """Columns (price, lower, upper, integer) and rows (lower, upper, entries) of the relaxation; ids by item and week, ``x`` and ``moved`` by way."""

    price: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    row_low: list[float] = field(default_factory=list)
    row_high: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    x: list[list[int]] = field(default_factory=list)
    stock: list[list[int]] = field(default_factory=list)
    lost: list[list[int]] = field(default_factory=list)
    gap: list[list[int]] = field(default_factory=list)
    thrown: list[list[int]] = field(default_factory=list)
    closing: list[int] = field(default_factory=list)
    overtime: list[int] = field(default_factory=list)
    helper: list[int] = field(default_factory=list)
    over_store: list[int] = field(default_factory=list)
    missed_show: list[int] = field(default_factory=list)
    moved: list[list[int]] = field(default_factory=list)
    hands_row: list[int] = field(default_factory=list)
    station_row: list[list[int]] = field(default_factory=list)
    store_row: list[int] = field(default_factory=list)
    show_row: list[int] = field(default_factory=list)
    constant: float = 0.0

    def column(self, price: float, high: float = INF, low: float = 0.0, whole: bool = False) -> int:
        """Add a column; its number."""
        self.price.append(price)
        self.low.append(low)
        self.high.append(high)
        self.whole.append(whole)
        return len(self.price) - 1

    def row(self, low: float, high: float, entries: list[tuple[int, float]]) -> int:
        """Add a row low <= sum(value x column) <= high; its number."""
        for column, value in entries:
            self.columns.append(column)
            self.values.append(value)
        self.starts.append(len(self.columns))
        self.row_low.append(low)
        self.row_high.append(high)
        return len(self.row_low) - 1


def build(a: Arrays) -> Program:
    """The program of a problem laid out in ``a``."""
    m, prices, weeks = Program(), a.problem.prices, a.weeks
    m.x, m.moved = [[] for _ in a.of], [[] for _ in a.of]
    for i in range(a.n):
        _item(m, a, i)
    for t in range(weeks):
        m.overtime.append(m.column(prices.overtime_per_hour / 60, high=a.overtime[t]))
        m.helper.append(m.column(prices.helper_shift, high=a.helpers[t], whole=True))
        entries = [(m.x[j][t], float(a.hands[j])) for j in range(a.rows) if m.x[j][t] >= 0 and a.hands[j]]
        entries += [(m.overtime[t], -1.0), (m.helper[t], -float(prices.helper_minutes))]
        m.hands_row.append(m.row(-INF, a.people[t], entries))
        rows = []
        for wants, room in zip(a.need, a.room, strict=True):
            used = [(m.x[j][t], float(wants[j])) for j in range(a.rows) if m.x[j][t] >= 0 and wants[j]]
            rows.append(m.row(-INF, room[t], used) if used and room[t] < 10**9 else -1)
        m.station_row.append(rows)
        if a.store is not None:
            over = m.column(prices.store_over_per_kg_week)
            held = [(m.stock[i][t], 1.0) for i in range(a.n) if m.stock[i][t] >= 0 and not _leaves(a, i, t)]
            m.store_row.append(m.row(-INF, a.store / 1000, [*held, (over, -1.0)]))
            m.over_store.append(over)
        else:
            m.store_row.append(-1)
        if a.shows[t]:
            missed = m.column(prices.missed_show)
            shown = [(m.x[j][t], 1.0) for j in range(a.rows) if a.good_to_show[j] and m.x[j][t] >= 0]
            m.show_row.append(m.row(a.shows[t], INF, [*shown, (missed, 1.0)]))
            m.missed_show.append(missed)
        else:
            m.show_row.append(-1)
            m.missed_show.append(-1)
    return m


def _leaves(a: Arrays, i: int, t: int) -> bool:
    return a.ends_in_season[i] and t == a.end[i]


def _item(m: Program, a: Arrays, i: int) -> None:
    """Columns and rows of one item: its ways, stock, lost, display gap, shelf life, loss curves, end of season, kept lines."""
    last, curve, mine = a.end[i], a.curves[i], sorted(a.ways[i])
    none = [-1] * a.weeks
    stock, lost, gap, thrown = list(none), list(none), list(none), list(none)
    for j in mine:
        _way(m, a, j, last)
    for t in range(last + 1):
        hold = 0.0 if _leaves(a, i, t) else float(a.hold[i])
        end = a.end_low[i] if t == last else 0
        stock[t] = m.column(hold - end)
        lost[t] = m.column(a.lost[i], high=INF if curve is not None else a.demand[i][t] / 1000)
        if a.shelf[i]:
            thrown[t] = m.column(a.thrown[i])
        if a.display[i][t] and not _leaves(a, i, t):
            gap[t] = m.column(a.gap)
    for t in range(last + 1):
        entries = [(stock[t], -1.0), (lost[t], 1.0), *made_in(m, a, i, t, t)]
        entries += [(stock[t - 1], 1.0)] if t else []
        entries += [(thrown[t], -1.0)] if thrown[t] >= 0 else []
        wanted = (a.demand[i][t] - (0 if t else a.opening[i])) / 1000
        m.row(wanted, wanted, entries)
        if gap[t] >= 0:
            m.row(a.display[i][t] / 1000, INF, [(stock[t], 1.0), (gap[t], 1.0)])
        if a.shelf[i]:
            window = made_in(m, a, i, max(0, t - a.shelf[i] + 2), t, -1.0)
            m.row(-INF, a.fresh_opening[i][t] / 1000, [(stock[t], 1.0), *window])
        if curve is not None:
            _tangents(m, a, i, t, lost, thrown)
    if a.end_cap[i] and a.end_value[i] > a.end_low[i]:
        good = m.column(-(a.end_value[i] - a.end_low[i]), high=a.end_cap[i] / 1000)
        m.row(-INF, 0.0, [(good, 1.0), (stock[last], -1.0)])
        m.closing.append(good)
    else:
        m.closing.append(-1)
    m.stock.append(stock)
    m.lost.append(lost)
    m.gap.append(gap)
    m.thrown.append(thrown)


def _way(m: Program, a: Arrays, j: int, last: int) -> None:
    """Columns of one way of making an item: its batches, and how far they are moved from the plan in force."""
    x, moved, price = [-1] * a.weeks, [-1] * a.weeks, a.problem.prices.moved_batch
    for t in range(a.weeks):
        kept = a.kept[j][t]
        if t <= last and a.most[j][t] > 0:
            x[t] = m.column(a.material[j] / 1000, high=a.most[j][t], low=a.least[j][t], whole=True)
            if kept >= 0:
                moved[t] = m.column(price)
                m.row(-kept, INF, [(moved[t], 1.0), (x[t], -1.0)])
                m.row(kept, INF, [(moved[t], 1.0), (x[t], 1.0)])
        elif kept > 0:
            m.constant += price * kept
    m.x[j], m.moved[j] = x, moved


def made_in(m: Program, a: Arrays, i: int, first: int, last: int, sign: float = 1.0) -> list[tuple[int, float]]:
    """Entries for the kilograms made of item ``i`` in weeks first to last, in all its ways."""
    return [
        (m.x[j][u], sign * a.batch[j] / 1000)
        for j in sorted(a.ways[i])
        for u in range(first, last + 1)
        if m.x[j][u] >= 0
    ]


def _tangents(m: Program, a: Arrays, i: int, t: int, lost: list[int], thrown: list[int]) -> None:
    """Cumulative loss lies on or above every tangent at cumulative supply less what was thrown before."""
    curve = a.curves[i]
    assert curve is not None
    for at_nothing, per_kilo in curve[t]:
        share = per_kilo / 1000
        entries = [(lost[u], 1.0) for u in range(t + 1)]
        entries += made_in(m, a, i, 0, t, share)
        entries += [(thrown[u], -share) for u in range(t) if thrown[u] >= 0]
        m.row(at_nothing / 1000 - share * a.opening[i] / 1000, INF, entries)


def point(m: Program, a: Arrays, table: Table, costing: Costing) -> Floats:
    """A costed plan as a point of the program, to start the solver from."""
    values = np.zeros(len(m.price))
    for j, row in enumerate(table):
        for t in range(a.weeks):
            if m.x[j][t] >= 0:
                values[m.x[j][t]] = row[t]
            if m.moved[j][t] >= 0:
                values[m.moved[j][t]] = abs(row[t] - a.kept[j][t])
    for i, run in enumerate(costing.runs):
        for t in range(a.end[i] + 1):
            held = run.left if t == a.end[i] else run.stock[t]
            values[m.stock[i][t]] = held / 1000
            values[m.lost[i][t]] = run.lost[t] / 1000
            if m.thrown[i][t] >= 0:
                values[m.thrown[i][t]] = run.thrown[t] / 1000
            if m.gap[i][t] >= 0:
                values[m.gap[i][t]] = max(0, a.display[i][t] - held) / 1000
        if m.closing[i] >= 0:
            values[m.closing[i]] = min(a.end_cap[i], run.left) / 1000
    for t in range(a.weeks):
        values[m.overtime[t]] = costing.overtime[t]
        values[m.helper[t]] = costing.helpers[t]
        if a.store is not None:
            values[m.over_store[t]] = max(0, sum(run.stock[t] for run in costing.runs) - a.store) / 1000
        if m.missed_show[t] >= 0:
            shown = sum(table[j][t] for j in range(a.rows) if a.good_to_show[j])
            values[m.missed_show[t]] = max(0, a.shows[t] - shown)
    return values
