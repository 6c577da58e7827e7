"""The week in plain words, from its figures: what was made, what changed most and why, the worst loss, what runs short, the hours.

A clause is left out when its figures do not exist or do not matter; nothing is said that a table does not show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from ledger.quantities import duration_text, mass_text

MATTERS = 0.01
"""A yield that moved by less than one percentage point is not worth a sentence."""
SHORT_DAYS = 7.0
"""Cover below this many days is called a risk."""

Name = Callable[[str, str], str]


@dataclass(frozen=True, slots=True)
class Change:
    """The flavour whose yield moved most by weight, and the loss that moved most with it.

    now and before are process yields; effect_mg is (now - before) x theoretical mass; cause and step name the loss (empty: none found),
    cause_change its change in share of the cooked mass.
    """

    flavour: str
    now: float
    before: float
    effect_mg: int
    step: str = ""
    cause: str = ""
    cause_change: float = 0.0


def largest_change(
    now: pd.DataFrame, before: pd.DataFrame, losses_now: pd.DataFrame, losses_before: pd.DataFrame
) -> Change | None:
    """Which flavour's process yield moved most (weighed by its mass), and which loss explains most of it.

    Args:
        now, before: `yields` by ``flavour`` for the week and for the weeks before.
        losses_now, losses_before: `masses` by ``flavour`` for the same.
    """
    both = now.merge(before, on="flavour", suffixes=("", "_before"))
    both = both[(both["theoretical_mg"] > 0) & (both["theoretical_mg_before"] > 0)]
    if both.empty:
        return None
    moved = both["process_yield_ratio"] - both["process_yield_ratio_before"]
    effect = (moved * both["theoretical_mg"]).abs()
    row = both.iloc[int(effect.to_numpy().argmax())]
    change = float(row["process_yield_ratio"] - row["process_yield_ratio_before"])
    step, cause, shift = _cause(losses_now, losses_before, row, change)
    return Change(
        str(row["flavour"]), float(row["process_yield_ratio"]), float(row["process_yield_ratio_before"]),
        round(change * float(row["theoretical_mg"])), step, cause, shift,
    )  # fmt: skip


def _cause(now: pd.DataFrame, before: pd.DataFrame, row: pd.Series, change: float) -> tuple[str, str, float]:
    moved: dict[tuple[str, str], float] = {}
    for table, cooked, sign in ((now, row["cooked_mg"], 1), (before, row["cooked_mg_before"], -1)):
        mine = table[table["flavour"] == row["flavour"]]
        for step, cause, mass in zip(mine["step"], mine["cause"], mine["mass_mg"], strict=True):
            moved[step, cause] = moved.get((step, cause), 0.0) + sign * (mass / cooked if cooked else 0.0)
    against = {key: shift for key, shift in moved.items() if shift * change < 0}
    if not against:
        return "", "", 0.0
    step, cause = max(sorted(against), key=lambda key: abs(against[key]))
    return step, cause, against[step, cause]


def made(batches: int, total: pd.Series, units: str) -> str:
    """What was made and sold."""
    sold = int(total["sold_packs"])
    packed = int(total["packed_packs"])
    shelf = f"{_many(packed, 'pack')} packed and {_many(sold, 'pack')} sold" if packed or sold else ""
    if total["charged_mg"] <= 0 and total["good_mg"] <= 0:
        return f"Nothing was cooked; {shelf}." if shelf else "Nothing was cooked, packed or sold."
    text = f"{_many(batches, 'batch', 'batches')} gave {mass_text(int(total['good_mg']), units)} of good pieces"
    if not math.isnan(total["process_yield_ratio"]):
        text += f", a process yield of {percent(total['process_yield_ratio'])}"
    return f"{text}; {shelf}." if shelf else f"{text}."


def changed(change: Change | None, name: Name, before: str = "over the four weeks before") -> str:
    """The largest change and its cause; empty when it does not matter."""
    if change is None or abs(change.now - change.before) < MATTERS:
        return ""
    fell = change.now < change.before
    text = f"{name('flavour', change.flavour)} {'fell' if fell else 'rose'} to {percent(change.now)} from {percent(change.before)} {before}"
    if change.cause:
        what = f"{cause_word(change.cause)} at {step_word(change.step)}"
        text += f", mostly {'more' if fell else 'less'} {what} ({100 * change.cause_change:+.1f} points)"
    return text + "."


def worst_loss(row: pd.Series | None, units: str) -> str:
    """The largest loss."""
    if row is None:
        return ""
    share = "" if math.isnan(row["loss_ratio"]) else f", {percent(row['loss_ratio'], 0)} of all that was lost"
    what = (
        f"{cause_word(row['cause'])} at {step_word(row['step'])}"
        if row["cause"] != "unexplained"
        else f"what nobody can explain at {step_word(row['step'])}"
    )
    return f"The largest loss was {what}: {mass_text(int(row['mass_mg']), units)}{share}."


def ran_out(gone: pd.DataFrame, name: Name) -> str:
    """What was noted as gone: ``flavour``, ``channel``, ``days``."""
    if gone.empty:
        return ""
    parts = [
        f"{name('flavour', r['flavour'])} ({name('channel', r['channel'])}, {_many(int(r['days']), 'day')})"
        for r in gone.to_dict("records")
    ]
    return f"Ran out: {_list(parts)}."


def short(shelf: pd.DataFrame, name: Name, most: int = 3) -> str:
    """Flavours with less than a week's cover, shortest first, from `cover_by_flavour`."""
    if shelf.empty:
        return ""
    risky = shelf[shelf["packs_per_day"] > 0]
    risky = risky.assign(cover=risky["packs"] / risky["packs_per_day"])
    risky = risky[risky["cover"] < SHORT_DAYS].sort_values(["cover", "flavour"])
    if risky.empty:
        return ""
    shown = [f"{name('flavour', r['flavour'])} ({_cover(r['cover'])})" for r in risky.head(most).to_dict("records")]
    rest = len(risky) - len(shown)
    return f"Short on the shelf: {_list(shown)}{f' and {rest} more' if rest else ''}."


def hours(seconds: int, minutes_per_kg: float, before: float, units: str) -> str:
    """Hours worked and minutes a kilogram (or pound), beside the weeks before."""
    if seconds <= 0:
        return "No hours were recorded."
    text = f"Hands worked {duration_text(seconds)}"
    if not math.isnan(minutes_per_kg):
        factor, unit = (0.45359237, "lb") if units == "us" else (1.0, "kg")
        text += f", {minutes_per_kg * factor:.0f} min a good {unit}"
        if not math.isnan(before):
            text += f" ({before * factor:.0f} before)"
    return text + "."


def sentence(clauses: Sequence[str]) -> str:
    """Clauses that say something, one after the other."""
    return " ".join(c for c in clauses if c)


def percent(share: float, places: int = 1) -> str:
    """A share in per cent."""
    return f"{100 * share:.{places}f} %"


def step_word(step: str) -> str:
    """A step as the floor says it (`cut` -> `cutting`)."""
    return {
        "cook": "the kettle", "pull": "pulling", "blend": "blending", "build": "building", "roll": "rolling", "cut": "cutting",
        "pack": "packing", "close": "closing", "count": "stock-taking", "scrap": "the shelf",
    }.get(step, step)  # fmt: skip


def cause_word(cause: str) -> str:
    """A cause of loss as the floor says it."""
    return {"picture": "bad pictures", "unexplained": "loss nobody can explain"}.get(cause, cause)


def _many(number: int, one: str, more: str = "") -> str:
    return f"{number:,} {one if number == 1 else more or one + 's'}".replace(",", "\u202f")


def _cover(days: float) -> str:
    return "none left" if days <= 0 else "less than a day" if days < 1 else _many(int(days), "day")


def _list(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


__all__ = [
    "MATTERS", "SHORT_DAYS", "Change", "changed", "hours", "largest_change", "made", "percent", "ran_out", "sentence", "short",
    "step_word", "worst_loss",
]  # fmt: skip
