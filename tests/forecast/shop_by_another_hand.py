"""A small hard-candy shop, day by day, by a hand that has not seen the forecast model: a judge, never a thing to fit to.

It works by mechanism, not by regression: people walk in, choose, find the shelf full or empty; resellers let their own
stock run down and then order; the owner makes whole batches by eye. Run-outs come out of that, they are not drawn.

Sources. Yearly shape: Federal Reserve G.17, sugar and confectionery product (IPG3113N), 2007-2016, each month over its
year's mean; made steeper for a shop by judgement. Feast dates: the ``holidays`` package. Noise: gamma-mixed Poisson, so
negative binomial, which retail counts are known to need more of the smaller they are (Agrawal & Smith 1996; Taylor's
law 1961; both from memory). Lumpy resale: Croston 1972; Syntetos, Boylan & Croston 2005, from memory. Promotions of 1.3
to 2.5 times, part of it taken from the flavours beside it and from the week after: van Heerde, Leeflang & Wittink 2004,
from memory. Days of the week, fair, weather and closures: common practice, no source. Every name is invented.

Measured before any model was tried on it (30 seeds, 52 held-back weeks not short, against true demand): last year's
same week has a WAPE of 0.44 by flavour (0.37 to 0.55), 0.57 by series, 0.28 for the shop; the mean known but for luck,
which no forecast can reach, 0.24, 0.32 and 0.14. 5 % of series-weeks on sale are short, 3.5 % of demand is lost.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ledger.errors import BadInput
from ledger.forecast.history import DemandHistory
from tests.forecast.shop_by_another_hand_world import (
    AHEAD,
    ALL_YEAR,
    CARRIED,
    CHANNELS,
    FLAVOURS,
    NEW,
    UNKNOWN,
    WINDOWS,
    Bools,
    Calendar,
    Window,
    asked_for,
    calendar,
    promotions,
    rates,
    sell,
    share_in_stock,
)

PROMOTION = ["week", "flavour", "channel", "strength"]
BULK = ["week", "flavour", "channel", "units"]


@dataclass(frozen=True, eq=False)
class Shop:
    """What the owner could write down, and beside it what only the simulator knows.

    Attributes:
        history: all weeks with hindsight, in the model's own type; open days reach 13 weeks past the end.
        held_back_from: first ISO week of the last 52; fit on what lies before it.
        feasts: ``feast``, ``date`` (``datetime.date``) the owner knows of, a year past the end. The regatta is not there.
        windows: of each season-only flavour, in days about its feasts; other flavours are sold all year.
        truth: ``week``, ``flavour``, ``channel``, ``demand`` (asked for with a full shelf, bulk orders not in it),
            ``sold`` (of that), ``expected`` (mean of demand for one who knew all but the luck), ``short`` (share < 1).
        secrets: ``new flavour listed``, ``price risen``, ``level break`` (ISO weeks), ``level step`` (resale times this),
            ``failed season`` (flavour), ``unknown feast`` (dates).
        planned_days, announced, placed: open days as planned, promotions with the week they were ``announced``, bulk
            orders with the week they were ``placed``; what ``as_known`` reads.
    """

    history: DemandHistory
    held_back_from: str
    feasts: pd.DataFrame
    windows: Mapping[str, tuple[Window, ...]]
    truth: pd.DataFrame
    secrets: dict[str, Any]
    planned_days: pd.DataFrame
    announced: pd.DataFrame
    placed: pd.DataFrame

    def as_known(self, origin: str) -> DemandHistory:
        """What stood in the book on the origin week's Monday: no burst pipe ahead, no bulk order not yet placed."""
        before, days, plan = self.history.before(origin), self.history.open_days, self.planned_days
        assert days is not None
        days = pd.concat([days[days["week"] < origin], plan[plan["week"] >= origin]], ignore_index=True)
        promotions = self.announced.loc[self.announced["announced"] <= origin, PROMOTION]
        return DemandHistory(
            before.sales, before.exposure, days, promotions, self.placed.loc[self.placed["placed"] < origin, BULK]
        )


def simulate(seed: int, weeks: int = 208, first_monday: date = date(2022, 1, 3)) -> Shop:
    """One shop's ``weeks`` weeks from ``first_monday``, the last 52 held back; the same seed gives the same shop.

    Raises:
        BadInput: fewer than 130 weeks (nothing to fit beside the year held back), or the first day is no Monday.
    """
    if weeks < 130:
        raise BadInput(
            f"{weeks} weeks leave too few to fit on beside the 52 held back; ask for 130 or more", value=weeks
        )
    if first_monday.weekday() != 0:
        raise BadInput(f"{first_monday} is not a Monday; weeks begin on Monday (ISO 8601)", value=first_monday)
    rng = np.random.default_rng(seed)
    cal = calendar(rng, first_monday, weeks)
    announced, strength = promotions(rng, cal, weeks)
    held, days = weeks - 52, weeks * 7
    expected, rate, secrets = rates(rng, cal, strength, held, weeks)
    asked = asked_for(rng, expected, rate, cal, weeks)
    sold, gone = sell(rng, asked, expected, cal, weeks)
    share = share_in_stock(gone, cal, weeks)

    text = np.array([_week(first_monday + timedelta(days=7 * w)) for w in range(weeks + AHEAD)])
    c, f, w = (a.ravel() for a in np.indices((2, len(FLAVOURS), weeks)))
    frame = pd.DataFrame({"week": text[w], "flavour": np.array(FLAVOURS)[f], "channel": np.array(CHANNELS)[c]})
    weekly = [a.reshape(2, -1, weeks, 7).sum(3).ravel() for a in (asked, sold, expected)]
    on_sale = np.max(cal.on_sale[:, :days].reshape(-1, weeks, 7), axis=2)[f, w]
    listed = (np.array(FLAVOURS)[f] != NEW) | (w >= secrets["new flavour listed"])
    carried, short = CARRIED[c, f], (share.ravel() < 1) & on_sale & listed
    truth = frame.assign(demand=weekly[0], sold=weekly[1], expected=weekly[2], short=short)
    bulk = _bulk(rng, cal, text, weeks, secrets["new flavour listed"])
    loose = truth.loc[truth["sold"] > 0, ["week", "flavour", "channel", "sold"]].rename(columns={"sold": "units"})
    both = pd.concat([loose, bulk.filter(BULK)])
    sales = both.groupby(BULK[:3])["units"].sum().reset_index()
    exposure = frame.assign(share=share.ravel())[carried & short].reset_index(drop=True)
    announced = announced.assign(week=text[announced["week"]], announced=text[announced["announced"]])
    secrets = {k: str(text[v]) if isinstance(v, int) else v for k, v in secrets.items()}
    secrets["unknown feast"] = cal.feasts[UNKNOWN]
    known = [(name, day) for name, dates in cal.feasts.items() if name != UNKNOWN for day in dates]
    history = DemandHistory(
        sales, exposure, _open_table(cal.open, text), announced.loc[:, PROMOTION], bulk.filter(BULK)
    )
    return Shop(
        history,
        str(text[held]),
        pd.DataFrame(known, columns=["feast", "date"]).sort_values("date", ignore_index=True),
        WINDOWS,
        truth[carried].reset_index(drop=True),
        secrets,
        _open_table(cal.planned, text),
        announced,
        bulk,
    )


def _week(day: date) -> str:
    year, number, _ = day.isocalendar()
    return f"{year}-W{number:02d}"


def _bulk(rng: np.random.Generator, cal: Calendar, text: NDArray[np.str_], weeks: int, listed: int) -> pd.DataFrame:
    """Weddings and hampers, made to order and so never short; placed one to five weeks ahead."""
    rows = []
    for _ in range(rng.poisson(9 * weeks / 52)):
        week, flavour = int(rng.integers(6, weeks)), str(rng.choice(ALL_YEAR))
        channel = int(rng.random() < 0.6)
        if cal.open[channel, week * 7 : week * 7 + 7].any() and (flavour != NEW or week >= listed):
            units, lead = int(rng.integers(4, 17)) * 10, int(rng.integers(1, 6))
            rows.append((text[week], flavour, CHANNELS[channel], units, text[week - lead]))
    return pd.DataFrame(rows, columns=[*BULK, "placed"]).sort_values("week", ignore_index=True)


def _open_table(opened: Bools, text: NDArray[np.str_]) -> pd.DataFrame:
    days = opened.reshape(2, -1, 7).sum(2)
    return pd.concat(
        [pd.DataFrame({"week": text, "days": days[c], "channel": CHANNELS[c]}) for c in (0, 1)], ignore_index=True
    )
