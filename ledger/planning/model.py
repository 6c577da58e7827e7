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
    """Columns (price, lower, upper, integer) and rows (lower, upper, entries) of the relaxation; ids by item and week."""

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
    for i in range(a.n):
        _item(m, a, i)
    for t in range(weeks):
        m.overtime.append(m.column(prices.overtime_per_hour / 60, high=a.overtime[t]))
        m.helper.append(m.column(prices.helper_shift, high=a.helpers[t], whole=True))
        entries = [(m.x[i][t], float(a.hands[i])) for i in range(a.n) if m.x[i][t] >= 0 and a.hands[i]]
        entries += [(m.overtime[t], -1.0), (m.helper[t], -float(prices.helper_minutes))]
        m.hands_row.append(m.row(-INF, a.people[t], entries))
        rows = []
        for wants, room in zip(a.need, a.room, strict=True):
            used = [(m.x[i][t], float(wants[i])) for i in range(a.n) if m.x[i][t] >= 0 and wants[i]]
            rows.append(m.row(-INF, room[t], used) if used and room[t] < 10**9 else -1)
        m.station_row.append(rows)
        if a.store is not None:
            over = m.column(prices.store_over_per_kg_week)
            held = [(m.stock[i][t], 1.0) for i in range(a.n) if m.stock[i][t] >= 0 and not _leaves(a, i, t)]
            m.row(-INF, a.store / 1000, [*held, (over, -1.0)])
            m.over_store.append(over)
        if a.shows[t]:
            missed = m.column(prices.missed_show)
            shown = [(m.x[i][t], 1.0) for i in range(a.n) if a.good_to_show[i] and m.x[i][t] >= 0]
            m.row(a.shows[t], INF, [*shown, (missed, 1.0)])
            m.missed_show.append(missed)
        else:
            m.missed_show.append(-1)
    return m


def _leaves(a: Arrays, i: int, t: int) -> bool:
    return a.ends_in_season[i] and t == a.end[i]


def _item(m: Program, a: Arrays, i: int) -> None:
    """Columns and rows of one item: stock, lost, display gap, shelf life, loss curves, end of season, kept lines."""
    last, curve, batch = a.end[i], a.curves[i], a.batch[i] / 1000
    none = [-1] * a.weeks
    x, stock, lost, gap, thrown, moved = list(none), list(none), list(none), list(none), list(none), list(none)
    for t in range(last + 1):
        if a.most[i][t] > 0:
            x[t] = m.column(a.material[i] / 1000, high=a.most[i][t], low=a.least[i][t], whole=True)
        hold = 0.0 if _leaves(a, i, t) else float(a.hold[i])
        end = a.end_low[i] if t == last else 0
        stock[t] = m.column(hold - end)
        lost[t] = m.column(a.lost[i], high=INF if curve is not None else a.demand[i][t] / 1000)
        if a.shelf[i]:
            thrown[t] = m.column(a.thrown[i])
        if a.display[i][t] and not _leaves(a, i, t):
            gap[t] = m.column(a.gap)
        if a.kept[i][t] >= 0:
            kept = a.kept[i][t]
            if x[t] >= 0:
                moved[t] = m.column(a.problem.prices.moved_batch)
                m.row(-kept, INF, [(moved[t], 1.0), (x[t], -1.0)])
                m.row(kept, INF, [(moved[t], 1.0), (x[t], 1.0)])
            else:
                m.constant += a.problem.prices.moved_batch * kept
    for t in range(last + 1, a.weeks):
        if a.kept[i][t] > 0:
            m.constant += a.problem.prices.moved_batch * a.kept[i][t]
    for t in range(last + 1):
        entries = [(stock[t], -1.0), (lost[t], 1.0)]
        entries += [(x[t], batch)] if x[t] >= 0 else []
        entries += [(stock[t - 1], 1.0)] if t else []
        entries += [(thrown[t], -1.0)] if thrown[t] >= 0 else []
        wanted = (a.demand[i][t] - (0 if t else a.opening[i])) / 1000
        m.row(wanted, wanted, entries)
        if gap[t] >= 0:
            m.row(a.display[i][t] / 1000, INF, [(stock[t], 1.0), (gap[t], 1.0)])
        if a.shelf[i]:
            window = [u for u in range(max(0, t - a.shelf[i] + 2), t + 1) if x[u] >= 0]
            m.row(-INF, a.fresh_opening[i][t] / 1000, [(stock[t], 1.0), *((x[u], -batch) for u in window)])
        if curve is not None:
            _tangents(m, a, i, t, x, lost, thrown)
    if a.end_cap[i] and a.end_value[i] > a.end_low[i]:
        good = m.column(-(a.end_value[i] - a.end_low[i]), high=a.end_cap[i] / 1000)
        m.row(-INF, 0.0, [(good, 1.0), (stock[last], -1.0)])
        m.closing.append(good)
    else:
        m.closing.append(-1)
    m.x.append(x)
    m.stock.append(stock)
    m.lost.append(lost)
    m.gap.append(gap)
    m.thrown.append(thrown)
    m.moved.append(moved)


def _tangents(m: Program, a: Arrays, i: int, t: int, x: list[int], lost: list[int], thrown: list[int]) -> None:
    """Cumulative loss lies on or above every tangent at cumulative supply less what was thrown before."""
    curve, batch = a.curves[i], a.batch[i] / 1000
    assert curve is not None
    for at_nothing, per_kilo in curve[t]:
        share = per_kilo / 1000
        entries = [(lost[u], 1.0) for u in range(t + 1)]
        entries += [(x[u], share * batch) for u in range(t + 1) if x[u] >= 0]
        entries += [(thrown[u], -share) for u in range(t) if thrown[u] >= 0]
        m.row(at_nothing / 1000 - share * a.opening[i] / 1000, INF, entries)


def point(m: Program, a: Arrays, table: Table, costing: Costing) -> Floats:
    """A costed plan as a point of the program, to start the solver from."""
    values = np.zeros(len(m.price))
    for i, run in enumerate(costing.runs):
        for t in range(a.end[i] + 1):
            if m.x[i][t] >= 0:
                values[m.x[i][t]] = table[i][t]
            held = run.left if t == a.end[i] else run.stock[t]
            values[m.stock[i][t]] = held / 1000
            values[m.lost[i][t]] = run.lost[t] / 1000
            if m.thrown[i][t] >= 0:
                values[m.thrown[i][t]] = run.thrown[t] / 1000
            if m.gap[i][t] >= 0:
                values[m.gap[i][t]] = max(0, a.display[i][t] - held) / 1000
            if m.moved[i][t] >= 0:
                values[m.moved[i][t]] = abs(table[i][t] - a.kept[i][t])
        if m.closing[i] >= 0:
            values[m.closing[i]] = min(a.end_cap[i], run.left) / 1000
    for t in range(a.weeks):
        values[m.overtime[t]] = costing.overtime[t]
        values[m.helper[t]] = costing.helpers[t]
        if a.store is not None:
            values[m.over_store[t]] = max(0, sum(run.stock[t] for run in costing.runs) - a.store) / 1000
        if m.missed_show[t] >= 0:
            shown = sum(table[i][t] for i in range(a.n) if a.good_to_show[i])
            values[m.missed_show[t]] = max(0, a.shows[t] - shown)
    return values
