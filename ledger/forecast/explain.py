"""A forecast in words a maker can act on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ledger.forecast.levels import ALL

GRAMS_IN_KILOGRAM = 1000.0


def explain(forecast_row: Mapping[str, Any], unit: str = "packs") -> str:
    """One or two sentences about one row of ``Forecast.weekly`` or ``Forecast.cumulated``.

    Args:
        forecast_row: a row as a mapping (``frame.iloc[0]`` or a dict).
        unit: ``packs``, or ``g``: grams are told in kilograms from one kilogram up.
    """
    row = forecast_row
    who = _who(str(row["flavour"]), str(row["channel"]))
    when = f"in week {row['week']}" if "week" in row else _span(row)
    reason = str(row.get("why", ""))
    if row.get("model") == "none":
        return f"{who}: no forecast {when}, {reason}."
    firm = float(row.get("firm", 0) or 0)
    promised = f" On top of that, {_amount(firm, unit)} are promised in bulk orders." if firm > 0 else ""
    if row.get("model") == "dropped":
        return f"{who}: nothing {when}; {reason}.{promised}"
    if float(row["mean"]) <= 0:
        return f"{who}: nothing {when}; the shop is shut or it is out of season.{promised}"
    low, high = _amounts(float(row["q10"]), float(row["q90"]), unit)
    text = (
        f"{who}: about {_amount(float(row['q50']), unit)} {when}. "
        f"In 8 years of 10 it will be between {low} and {high}; in 1 of 10 less, in 1 of 10 more.{promised}"
    )
    return f"{text} From {row['model']}: {reason}." if reason else text


def _who(flavour: str, channel: str) -> str:
    if flavour == ALL and channel == ALL:
        return "The whole shop"
    if flavour == ALL:
        return f"All flavours in {channel}"
    return flavour if channel == ALL else f"{flavour} in {channel}"


def _span(row: Mapping[str, Any]) -> str:
    weeks = int(row["weeks"])
    length = "this week" if weeks == 1 else f"over {weeks} weeks"
    until = f"from {row['from_week']} to {row['to_week']}"
    return f"for the rest of the season ({length}, {until})" if row["span"] == "season" else f"{length}, {until}"


def _amounts(low: float, high: float, unit: str) -> tuple[str, str]:
    if unit == "g" and high >= GRAMS_IN_KILOGRAM:
        return _kilograms(low).removesuffix(" kg"), _kilograms(high)
    return f"{low:.0f}", f"{high:.0f} {unit}"


def _amount(value: float, unit: str) -> str:
    return _kilograms(value) if unit == "g" and value >= GRAMS_IN_KILOGRAM else f"{value:.0f} {unit}"


def _kilograms(grams: float) -> str:
    kilograms = grams / GRAMS_IN_KILOGRAM
    return f"{kilograms:.1f} kg" if kilograms < 20 else f"{kilograms:.0f} kg"
