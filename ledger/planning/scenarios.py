"""A plan scored on sampled seasons it was not made on: what it costs when demand is not the forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ledger.planning.arrays import lay_out
from ledger.planning.cost import cost_table
from ledger.planning.findings import sort_out
from ledger.planning.plan import Plan
from ledger.planning.problem import Problem

Seasons = npt.NDArray[np.int64]
"""Grams demanded by season drawn, item and week."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Coefficients of variation of a season: common to the shop, of a design's level, and of a single week."""

    common: float = 0.12
    everyday_level: float = 0.12
    season_level: float = 0.35
    everyday_week: float = 0.25
    season_week: float = 0.20


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What a plan cost over the seasons drawn: mean, tenth and ninetieth percent (milli); per mille lost and left over."""

    seasons: int
    mean_milli: int
    low_milli: int
    high_milli: int
    lost_per_mille: int
    left_per_mille: int


def sample_seasons(problem: Problem, count: int = 100, seed: int = 1, spread: Spread | None = None) -> Seasons:
    """Draw seasons: forecast x common factor x level of the design x noise of the week, all log-normal with mean 1."""
    spread = spread or Spread()
    draw = np.random.default_rng(seed)
    weeks = len(problem.weeks)
    common = _factor(draw, spread.common, (count, 1, 1))
    rows = []
    for item in problem.items:
        season = item.season is not None
        level = _factor(draw, spread.season_level if season else spread.everyday_level, (count, 1))
        noise = _factor(draw, spread.season_week if season else spread.everyday_week, (count, weeks))
        demand = np.zeros(weeks)
        demand[: len(item.demand_g[:weeks])] = item.demand_g[:weeks]
        rows.append(level * noise * demand[None, :])
    if not rows:
        return np.zeros((count, 0, weeks), dtype=np.int64)
    return np.rint(np.stack(rows, axis=1) * common).astype(np.int64)


def _factor(draw: np.random.Generator, cv: float, shape: tuple[int, ...]) -> npt.NDArray[np.float64]:
    sigma = float(np.sqrt(np.log1p(cv * cv)))
    return np.exp(draw.normal(-sigma * sigma / 2, sigma, shape))


def rescore(plan: Plan, problem: Problem, seasons: Seasons) -> Score:
    """Cost the plan's lines on each season drawn, exactly as a plan is costed."""
    clean, _ = sort_out(problem)
    a = lay_out(replace(clean, items=tuple(replace(item, loss_curves=None) for item in clean.items)))
    table = a.table_of(plan.lines)
    costs, lost, left, wanted = [], 0, 0, 0
    for season in seasons:
        a.demand = [[int(v) for v in row] for row in season]
        costing = cost_table(a, table)
        costs.append(costing.total)
        lost += sum(sum(run.lost) for run in costing.runs)
        left += sum(run.left for i, run in enumerate(costing.runs) if a.ends_in_season[i])
        wanted += int(season.sum())
    return Score(
        seasons=len(costs),
        mean_milli=_mean(costs),
        low_milli=int(np.quantile(costs, 0.1)) if costs else 0,
        high_milli=int(np.quantile(costs, 0.9)) if costs else 0,
        lost_per_mille=lost * 1000 // max(1, wanted),
        left_per_mille=left * 1000 // max(1, wanted),
    )


def _mean(costs: Sequence[int]) -> int:
    return sum(costs) // len(costs) if costs else 0
