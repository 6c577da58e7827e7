"""Flavours with little or nothing of their own to go by.

With a first few weeks sold, a new flavour takes the shared feast, season and closure effects at its own level: that is
what the pooled regression gives it. With an analogue named by the owner it also leans on that flavour's forecast,
less so with every week it has sold itself. With neither there is no forecast, and the result says so.
"""

from __future__ import annotations

import numpy as np

from ledger.forecast.history import Floats, Panel
from ledger.forecast.pooled import Fit
from ledger.forecast.settings import ForecastSettings

WEEKS_TO_STAND_ALONE = 52
WEEKS_TO_HAVE_A_SHAPE = 8
OWNER_WEIGHT = 4.0
"""The owner's ``share`` counts as a Gamma prior with coefficient of variation 1/2, i.e. weight 1/0.5^2."""
WEEKS_OF_DOUBT = 26.0
"""After this many weeks of its own, a new flavour counts as much as its analogue."""


def weeks_known(fit: Fit) -> Floats:
    """Weeks each series was fitted on."""
    out: Floats = fit.used.sum(axis=1).astype(float)
    return out


def lean_on_analogues(panel: Panel, fit: Fit, column: int, mean: Floats, settings: ForecastSettings) -> Floats:
    """Means (series, weeks) with new flavours moved towards the analogue the owner named.

    The analogue's mean times ``share`` is itself corrected by what the new flavour has sold so far, then blended with
    the flavour's own forecast by its weeks of history.
    """
    out = mean.copy()
    known = weeks_known(fit)
    place = {pair: i for i, pair in enumerate(zip(panel.flavours, panel.channels, strict=True))}
    for s, (flavour, channel) in enumerate(zip(panel.flavours, panel.channels, strict=True)):
        analogue = settings.analogue_of(flavour)
        twin = place.get((analogue.like, channel)) if analogue else None
        if analogue is None or twin is None or known[s] >= WEEKS_TO_STAND_ALONE or not fit.fitted[twin]:
            continue
        like = mean[twin] * analogue.share
        past = fit.used[s]
        phi = fit.dispersion[twin]
        sold = fit.winsorised[s, past].sum() / phi
        expected = (like * panel.exposure[s])[past].sum() / phi
        like = like * (OWNER_WEIGHT + sold) / (OWNER_WEIGHT + expected)
        own = known[s] / (known[s] + WEEKS_OF_DOUBT)
        there = panel.in_window[s] & (panel.opening[s] > 0)
        out[s] = np.where(there, own * mean[s] + (1 - own) * like, 0.0)
    return out
