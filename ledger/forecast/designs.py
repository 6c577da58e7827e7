"""From a flavour's forecast down to its designs: how the flavour's sales have lately been shared among them."""

from __future__ import annotations

import pandas as pd

from ledger.errors import BadInput
from ledger.forecast.calendar import week_number, week_text


def design_shares(sales: pd.DataFrame, origin: str, weeks: int = 26) -> pd.DataFrame:
    """Share of each design in its flavour and channel over the last ``weeks`` before ``origin``.

    A flavour that sold nothing in that time (out of season) is read over its whole history.

    Args:
        sales: ``week``, ``flavour``, ``channel``, ``design``, ``units``.
        origin: ISO week; its own sales and later ones are not looked at.
        weeks: how far back, 1 or more.

    Returns:
        ``flavour``, ``channel``, ``design``, ``share``; shares of one flavour in one channel add up to 1.

    Raises:
        BadInput: there is no column ``design``, or ``weeks`` is below 1.
    """
    if "design" not in sales.columns:
        raise BadInput("the sales have no column design, so they cannot be shared among designs")
    if weeks < 1:
        raise BadInput(f"weeks must be 1 or more, got {weeks}", value=weeks)
    known = sales[sales["week"] < origin]
    keys = ["flavour", "channel"]
    recent = known[known["week"] >= week_text(week_number(origin) - weeks)]
    sold = recent.groupby(keys)["units"].sum()
    alive = pd.MultiIndex.from_frame(known[keys]).isin(sold[sold > 0].index)
    used = pd.concat([recent[recent["units"] > 0], known[~alive]])
    table = used.groupby([*keys, "design"])["units"].sum()
    whole = table.groupby(level=keys).transform("sum")
    shares = (table[whole > 0] / whole[whole > 0]).rename("share")
    return shares.reset_index()
