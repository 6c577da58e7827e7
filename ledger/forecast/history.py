"""What was sold, and the known facts beside it, as the long tables the ledger gives and as the grid the models read.

Demand is not sales. A week in which a flavour was partly out of stock is an *exposure* below 1; a week nearly all out
of stock says nothing and is missing; a bulk order is firm demand and is set apart from what walks in at the door.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ledger.errors import BadInput
from ledger.forecast.calendar import days_to_next, week_number, week_text
from ledger.forecast.settings import ForecastSettings

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SHORT_BELOW = 0.98
"""A week in stock for less than this share of its usual sales counts as short and is never scored."""


@dataclass(frozen=True, eq=False)
class DemandHistory:
    """The long tables of one site.

    Attributes:
        sales: ``week`` (ISO), ``flavour``, ``channel``, optional ``design``, ``units`` (packs or grams, 0 or more).
            A week without a row sold nothing. Bulk orders are counted in, and taken out by ``bulk_orders``.
        exposure: ``flavour``, ``channel``, ``week``, ``share`` of the week's usual sales that was in stock (0..1).
        open_days: ``week``, ``days`` open, optional ``channel``; also for weeks to come. 0 is a closed week.
        promotions: ``week``, ``flavour``, ``channel``, ``strength`` (1 = the usual one); ``*`` means all.
        bulk_orders: ``week``, ``flavour``, ``channel``, ``units``; also those promised for weeks to come.
    """

    sales: pd.DataFrame
    exposure: pd.DataFrame | None = None
    open_days: pd.DataFrame | None = None
    promotions: pd.DataFrame | None = None
    bulk_orders: pd.DataFrame | None = None

    def before(self, origin: str) -> DemandHistory:
        """The same tables without what was sold, or found out of stock, in or after the origin week.

        Open days, promotions and bulk orders stay: they are announced ahead. For a replay of what was truly known on
        a date, ask the ledger instead.
        """
        sales = self.sales[self.sales["week"] < origin]
        exposure = None if self.exposure is None else self.exposure[self.exposure["week"] < origin]
        return DemandHistory(sales, exposure, self.open_days, self.promotions, self.bulk_orders)


HistoryAsKnown = Callable[[str], DemandHistory]
"""Gives the history as it was known when the origin week began."""


@dataclass(frozen=True, eq=False)
class Panel:
    """The grid the models read: one row a series (flavour in a channel), one column a week, oldest first.

    Attributes:
        flavours, channels: of each series, shape (series,).
        first: number of the first week.
        units: sold, bulk orders taken out; shape (series, weeks).
        exposure: share in stock, 1 where nothing was said.
        opening: open days as a share of an ordinary week, times the share of open days in the flavour's window.
        in_window: the flavour is on the shelf at all that week.
        promotion: strength.
        firm: bulk orders of the week.
        season: the season a week belongs to, told by its feast's day, per series; -1 outside and for all-year flavours.
        feast: place of that season's feast in the settings; -1 likewise.
        notes: what was strange in the input, in words.
    """

    flavours: tuple[str, ...]
    channels: tuple[str, ...]
    first: int
    units: Floats
    exposure: Floats
    opening: Floats
    in_window: Bools
    promotion: Floats
    firm: Floats
    seasonal: Bools
    season: NDArray[np.int64]
    feast: NDArray[np.int64]
    notes: tuple[str, ...] = field(default=())

    @property
    def weeks(self) -> int:
        """How many weeks the grid spans."""
        return int(self.units.shape[1])

    @property
    def number_of_series(self) -> int:
        """How many flavour-in-channel series there are."""
        return int(self.units.shape[0])

    def column(self, origin: str) -> int:
        """The column of the origin week."""
        return week_number(origin) - self.first

    def usable(self, column: int, least_exposure: float) -> Bools:
        """Weeks before ``column`` that tell something about demand: on sale, open, listed already, mostly in stock."""
        seen = np.zeros(self.units.shape, dtype=bool)
        sold = self.units[:, :column] > 0
        listed = np.logical_or.accumulate(sold, axis=1)
        seen[:, :column] = listed
        return seen & self.in_window & (self.opening > 0) & (self.exposure >= least_exposure)

    def not_short(self) -> Bools:
        """Weeks that may be scored: on the shelf, open and never out of stock."""
        return self.in_window & (self.opening > 0) & (self.exposure >= SHORT_BELOW)


def build_panel(history: DemandHistory, settings: ForecastSettings, last_week: str) -> Panel:
    """Lay the long tables out as a grid up to and with ``last_week`` (usually origin + horizon - 1).

    Raises:
        BadInput: no sales at all, a column is missing, units below 0, an exposure outside 0..1 or a week not ISO.
    """
    sales = _checked(history.sales, ("week", "flavour", "channel", "units"), "sales")
    if sales.empty:
        raise BadInput("there is no sale in the history yet; a forecast needs at least one week sold")
    code, pairs = _series(sales, settings)
    flavours, channels = tuple(f for f, _ in pairs), tuple(c for _, c in pairs)
    numbers = _numbers(sales["week"])
    first = int(numbers.min())
    span = week_number(last_week) - first + 1
    if span < 1:
        raise BadInput(f"the last week {last_week} lies before the first sale in {week_text(first)}", value=last_week)
    shape = (len(flavours), span)
    amount = sales["units"].to_numpy(dtype=float)
    _refuse(amount < 0, sales, "units", "must be 0 or more; enter a return as a lower sale of its week")
    units = np.zeros(shape)
    inside = numbers < first + span
    np.add.at(units, (code[inside], numbers[inside] - first), amount[inside])

    place = {pair: i for i, pair in enumerate(zip(flavours, channels, strict=True))}
    grid = _Grid(flavours, channels, place, first, shape)
    exposure = np.ones(shape)
    if history.exposure is not None and len(history.exposure):
        table = _checked(history.exposure, ("week", "flavour", "channel", "share"), "exposure")
        share = table["share"].to_numpy(dtype=float)
        _refuse((share < 0) | (share > 1), table, "share", "must lie between 0 (gone all week) and 1 (never gone)")
        grid.put(exposure, table, share)
    promotion = np.zeros(shape)
    if history.promotions is not None and len(history.promotions):
        table = _checked(history.promotions, ("week", "flavour", "channel", "strength"), "promotions")
        grid.put(promotion, table, table["strength"].to_numpy(dtype=float))
    firm = np.zeros(shape)
    notes: list[str] = []
    if history.bulk_orders is not None and len(history.bulk_orders):
        table = _checked(history.bulk_orders, ("week", "flavour", "channel", "units"), "bulk_orders")
        grid.add(firm, table, table["units"].to_numpy(dtype=float))
        sold_until = int(numbers.max()) - first + 1
        over = np.argwhere((firm > units)[:, :sold_until])
        notes += [
            f"{flavours[s]} in {channels[s]}, {week_text(first + t)}: the bulk order of {firm[s, t]:.0f} is more than "
            f"the {units[s, t]:.0f} sold; the rest of that week is taken as 0"
            for s, t in over
        ]
        units = np.maximum(units - firm, 0.0)
    opening = _opening(history, settings, grid)
    in_window, season, feast, opening = _windows(settings, grid, opening)
    seasonal = np.array([settings.window_of(f) is not None for f in flavours])
    return Panel(
        flavours, channels, first, units, exposure, opening, in_window, promotion, firm, seasonal, season, feast,
        tuple(notes),
    )  # fmt: skip


@dataclass(frozen=True)
class _Grid:
    flavours: tuple[str, ...]
    channels: tuple[str, ...]
    place: dict[tuple[str, str], int]
    first: int
    shape: tuple[int, int]

    def rows(self, flavour: str, channel: str) -> list[int]:
        if flavour != "*" and channel != "*":
            found = self.place.get((flavour, channel))
            return [] if found is None else [found]
        return [i for (f, c), i in self.place.items() if flavour in ("*", f) and channel in ("*", c)]

    def cells(self, table: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """(row of the table, series, column) of every cell the table speaks of, wildcards spread out."""
        columns = _numbers(table["week"]) - self.first
        pairs = list(zip(table["flavour"].astype(str), table["channel"].astype(str), strict=True))
        rows = {pair: self.rows(*pair) for pair in dict.fromkeys(pairs)}
        source, series = [], []
        for i, pair in enumerate(pairs):
            if 0 <= columns[i] < self.shape[1]:
                source.extend([i] * len(rows[pair]))
                series.extend(rows[pair])
        source_array = np.array(source, dtype=np.int64)
        return source_array, np.array(series, dtype=np.int64), columns[source_array]

    def put(self, target: Floats, table: pd.DataFrame, values: Floats) -> None:
        source, series, column = self.cells(table)
        target[series, column] = values[source]

    def add(self, target: Floats, table: pd.DataFrame, values: Floats) -> None:
        source, series, column = self.cells(table)
        np.add.at(target, (series, column), values[source])


def _series(sales: pd.DataFrame, settings: ForecastSettings) -> tuple[NDArray[np.int64], list[tuple[str, str]]]:
    """The series of each row of sales, and all series; a new flavour with an analogue joins in its channels."""
    flavour, flavours = pd.factorize(sales["flavour"].astype(str))
    channel, channels = pd.factorize(sales["channel"].astype(str))
    key, keys = pd.factorize(flavour.astype(np.int64) * len(channels) + channel)
    found = [(str(flavours[int(k) // len(channels)]), str(channels[int(k) % len(channels)])) for k in keys]
    for analogue in settings.analogues:
        found += [(analogue.flavour, c) for f, c in found if f == analogue.like and (analogue.flavour, c) not in found]
    pairs = sorted(found)
    order = np.array([pairs.index(pair) for pair in found], dtype=np.int64)
    return order[key], pairs


def _opening(history: DemandHistory, settings: ForecastSettings, grid: _Grid) -> Floats:
    opening = np.ones(grid.shape)
    table = history.open_days
    if table is None or not len(table):
        return opening
    table = _checked(table, ("week", "days"), "open_days")
    days = table["days"].to_numpy(dtype=float)
    _refuse((days < 0) | (days > 7), table, "days", "must lie between 0 (closed) and 7")
    columns = _numbers(table["week"]) - grid.first
    which = table["channel"].astype(str).to_numpy() if "channel" in table else np.full(len(table), "*")
    for name in dict.fromkeys(which):
        mine = (which == name) & (columns >= 0) & (columns < grid.shape[1])
        if not mine.any():
            continue
        normal = settings.normal_days or _commonest(days[mine & (days > 0)])
        rows = np.array([name in ("*", c) for c in grid.channels])
        opening[np.ix_(rows, columns[mine])] = days[mine] / normal
    return opening


def _commonest(days: Floats) -> float:
    if days.size == 0:
        return 6.0
    values, counts = np.unique(days, return_counts=True)
    return float(values[np.argmax(counts)])


def _windows(
    settings: ForecastSettings, grid: _Grid, opening: Floats
) -> tuple[Bools, NDArray[np.int64], NDArray[np.int64], Floats]:
    """Which weeks each series is on the shelf, their season and its feast, and opening cut to the windows."""
    in_window = np.ones(grid.shape, dtype=bool)
    season, feast = (np.full(grid.shape, -1, dtype=np.int64) for _ in range(2))
    numbers = np.arange(grid.first, grid.first + grid.shape[1], dtype=np.int64)
    opening = opening.copy()
    names = [f.name for f in settings.feasts]
    dates = numbers[:, None] * 7 + 1 + np.arange(7)[None, :]
    for flavour in dict.fromkeys(w.flavour for w in settings.windows):
        rows = [i for i, f in enumerate(grid.flavours) if f == flavour]
        if not rows:
            continue
        any_day = np.zeros(dates.shape, dtype=bool)
        most = np.zeros(grid.shape[1])
        for window in settings.windows_of(flavour):
            away = days_to_next(settings.feast(window.feast), numbers, after=window.days_after)
            days = (away >= -window.days_before) & (away <= window.days_after)
            mine = days.mean(axis=1) > most
            feast_day = np.where(days, dates - away, -1.0).max(axis=1).astype(np.int64)
            season[np.ix_(rows, mine)], feast[np.ix_(rows, mine)] = feast_day[mine], names.index(window.feast)
            most, any_day = np.maximum(most, days.mean(axis=1)), any_day | days
        share = any_day.mean(axis=1)
        in_window[rows] = share > 0
        opening[rows] *= share
    return in_window, season, feast, opening


def _checked(table: pd.DataFrame, columns: tuple[str, ...], name: str) -> pd.DataFrame:
    missing = [c for c in columns if c not in table.columns]
    if missing:
        raise BadInput(f"the table {name} lacks the columns {', '.join(missing)}", table=name, missing=missing)
    return table


def _refuse(bad: Bools, table: pd.DataFrame, column: str, advice: str) -> None:
    if bool(bad.any()):
        row = table.loc[bad].iloc[0]
        raise BadInput(f"{column} {row[column]} in {row['week']} {advice}", value=float(row[column]), week=row["week"])


def _numbers(weeks: pd.Series) -> NDArray[np.int64]:
    code, unique = pd.factorize(weeks)
    return np.array([week_number(str(w)) for w in unique], dtype=np.int64)[code]
