"""Hands: minutes for a kilogram and for a thousand pieces by step, worker and flavour, where the day went, and learning.

All functions read posting lines or balances of them with at least ``step``, ``kind``, ``account``, ``seconds``, ``mass_mg``, ``pieces``,
``packs`` (and the columns they keep apart). A worker's line has kind ``worker`` (seconds negative: given), the step's line kind ``work``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ledger.analytics.flows import STEPS, ratio, sums

_ORDER = {name: place for place, name in enumerate((*STEPS, "other"))}


def rates(table: pd.DataFrame) -> pd.DataFrame:
    """Adds ``minutes_per_kg`` and ``minutes_per_thousand_pieces`` from ``seconds``, ``good_mg`` and ``good_pieces``.

    ISO 22400-2 has no measure of labour for a quantity; this is labour productivity turned over (common practice, no source).
    """
    table = table.copy()
    minutes = table["seconds"] / 60
    table["minutes_per_kg"] = ratio(minutes * 1_000_000, table["good_mg"])
    table["minutes_per_thousand_pieces"] = ratio(minutes * 1000, table["good_pieces"])
    return table


def _good(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Sound pieces cut (``good_mg``, ``good_pieces``) and packed (``packed_mg``, ``packed_pieces``) for each combination."""
    names = ["good_mg", "good_pieces", "packed_mg", "packed_pieces"]
    made = ((frame["step"] == "cut") & (frame["kind"] == "lot.pieces") & (frame["mass_mg"] > 0)).to_numpy()
    packed = ((frame["step"] == "pack") & (frame["kind"] == "lot.packs") & (frame["mass_mg"] > 0)).to_numpy()
    mass, pieces = frame["mass_mg"].to_numpy(), frame["pieces"].to_numpy()
    wide = pd.DataFrame(
        {
            "good_mg": np.where(made, mass, 0), "good_pieces": np.where(made, pieces, 0),
            "packed_mg": np.where(packed, mass, 0), "packed_pieces": np.where(packed, pieces, 0),
        }
    ).astype("int64")  # fmt: skip
    if not keys:
        return wide.sum().to_frame().T.astype("int64")
    return sums(keys, frame, {n: wide[n].to_numpy() for n in names})


def by_step(frame: pd.DataFrame) -> pd.DataFrame:
    """Time of all hands at each step, for what was cut (packing: for what was packed).

    Returns:
        ``step`` in floor order, ``seconds``, ``good_mg``, ``good_pieces``, ``time_ratio`` (share of all time), ``minutes_per_kg``,
        ``minutes_per_thousand_pieces``.
    """
    names = ["step", "seconds", "good_mg", "good_pieces", "time_ratio"]
    work = frame[frame["kind"] == "work"] if not frame.empty else frame
    if work.empty:
        return rates(_typed(names, ["seconds", "good_mg", "good_pieces"]))
    table = work.groupby("step")[["seconds"]].sum().reset_index().astype({"seconds": "int64"})
    good = _good(frame, []).iloc[0]
    packing = table["step"] == "pack"
    table["good_mg"] = np.where(packing, good["packed_mg"], good["good_mg"]).astype("int64")
    table["good_pieces"] = np.where(packing, good["packed_pieces"], good["good_pieces"]).astype("int64")
    table["time_ratio"] = ratio(table["seconds"], pd.Series(int(table["seconds"].sum()), index=table.index))
    table = table.sort_values("step", key=lambda s: s.map(_ORDER).fillna(len(_ORDER)), kind="stable")
    return rates(table[names].reset_index(drop=True))


def by_flavour(frame: pd.DataFrame) -> pd.DataFrame:
    """Time of all hands for each flavour over all steps, for its sound pieces. Time on no flavour has the flavour ``''``.

    Returns:
        ``flavour``, ``seconds``, ``good_mg``, ``good_pieces``, ``minutes_per_kg``, ``minutes_per_thousand_pieces``; most time first.
    """
    names = ["flavour", "seconds", "good_mg", "good_pieces"]
    work = frame[frame["kind"] == "work"] if not frame.empty else frame
    if work.empty:
        return rates(_typed(names, names[1:]))
    seconds = work.groupby("flavour")[["seconds"]].sum().reset_index()
    table = seconds.merge(_good(frame, ["flavour"]), how="left", on="flavour")
    table = table.fillna(0).astype(dict.fromkeys(names[1:], "int64"))
    return rates(table[names].sort_values(["seconds", "flavour"], ascending=[False, True], ignore_index=True))


def by_worker(frame: pd.DataFrame) -> pd.DataFrame:
    """Each worker's time at each step, for the kilograms credited to it.

    A batch's sound mass is credited at every step to the hands that worked it there, in proportion to their time: so two people
    on one batch share its kilograms, and a rate tells of the batches a worker was on, not of speed against a colleague.

    Args:
        frame: posting lines or balances with ``batch``.

    Returns:
        ``worker``, ``step``, ``seconds``, ``good_mg``, ``good_pieces`` (credited, rounded down), ``minutes_per_kg``,
        ``minutes_per_thousand_pieces``.
    """
    names = ["worker", "step", "seconds", "good_mg", "good_pieces"]
    hands = frame[frame["kind"] == "worker"] if not frame.empty else frame
    if hands.empty:
        return rates(_typed(names, names[2:]))
    given = {"seconds": -hands["seconds"].to_numpy(dtype=np.int64)}
    own = sums(["account", "step", "batch"], hands, given)
    crew = dict(zip(*_pairs(sums(["step", "batch"], hands, given)), strict=True))
    made = _good(frame[frame["batch"] != ""], ["batch"]).set_index("batch").to_dict("index")
    credited: dict[tuple[str, str], list[int]] = {}
    for worker, step, batch, seconds in zip(own["account"], own["step"], own["batch"], own["seconds"], strict=True):
        good, whole = made.get(batch, {}), crew[step, batch]
        kind = "packed" if step == "pack" else "good"
        shares = [
            int(good.get(f"{kind}_{unit}", 0)) * int(seconds) // whole if whole else 0 for unit in ("mg", "pieces")
        ]
        total = credited.setdefault((worker, step), [0, 0, 0])
        for place, value in enumerate((int(seconds), *shares)):
            total[place] += value
    order = sorted(credited, key=lambda key: (key[0], _ORDER.get(key[1], len(_ORDER)), key[1]))
    table = pd.DataFrame([(*key, *credited[key]) for key in order], columns=names)
    return rates(table.astype(dict.fromkeys(names[2:], "int64")))


def _pairs(table: pd.DataFrame) -> tuple[list[tuple[str, str]], list[int]]:
    return list(zip(table["step"], table["batch"], strict=True)), [int(s) for s in table["seconds"]]


def by_day(frame: pd.DataFrame) -> pd.DataFrame:
    """Where the day went: one row a day, seconds of all hands at each step (columns are the steps), ``total_s`` and ``workers``."""
    steps = list(_ORDER)
    hands = frame[frame["kind"] == "worker"] if not frame.empty else frame
    if hands.empty:
        return _typed(
            ["day", *[f"{s}_s" for s in steps], "total_s", "workers"],
            [*[f"{s}_s" for s in steps], "total_s", "workers"],
        )
    hands = hands.assign(place=hands["step"].where(hands["step"].isin(steps), "other"))
    wide = -hands.pivot_table(index="day", columns="place", values="seconds", aggfunc="sum", fill_value=0)
    wide = wide.reindex(columns=steps, fill_value=0).astype("int64")
    wide.columns = [f"{s}_s" for s in steps]
    wide["total_s"] = wide.sum(axis=1)
    wide["workers"] = hands.groupby("day")["account"].nunique().astype("int64")
    return wide.reset_index().rename_axis(columns=None)


# --- learning -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Learning:
    """A fitted learning curve: unit n takes ``first x n ** exponent``. rate: what is left of the time at each doubling (0.85 = 85 %)."""

    first: float
    exponent: float
    rate: float
    units: int
    fit: float

    def at(self, n: float) -> float:
        """Time of the n-th unit."""
        return float(self.first * n**self.exponent)


def wright(first: float, rate: float, n: float) -> float:
    """Time of the n-th unit: T1 n^b with b = log2(rate) (Wright 1936, Factors affecting the cost of airplanes)."""
    return float(first * n ** np.log2(rate))


def learn(times: pd.Series) -> Learning | None:
    """The curve through the times of the 1st, 2nd, ... unit: least squares on logarithms. None with fewer than three times above zero.

    fit is the share of the spread of the logarithms that the curve explains (R squared; 0 when there is no spread).
    """
    y = times.to_numpy(dtype=np.float64)
    n = np.arange(1, len(y) + 1, dtype=np.float64)
    known = np.isfinite(y) & (y > 0)
    if known.sum() < 3:
        return None
    x, z = np.log(n[known]), np.log(y[known])
    exponent, level = np.polyfit(x, z, 1)
    spread = float(((z - z.mean()) ** 2).sum())
    rest = float(((z - level - exponent * x) ** 2).sum())
    return Learning(
        float(np.exp(level)),
        float(exponent),
        float(2**exponent),
        int(known.sum()),
        1 - rest / spread if spread > 1e-12 else 0.0,
    )


def batch_times(frame: pd.DataFrame) -> pd.DataFrame:
    """Time and good pieces of each batch in the order they were made: ``batch``, ``day``, ``flavour``, ``design``, ``seconds``, rates.

    Only batches with time and sound pieces; packing is left out, it may be shared between batches.
    """
    names = ["batch", "day", "flavour", "design", "seconds", "good_mg", "good_pieces"]
    rows = frame[frame["batch"] != ""] if not frame.empty else frame
    if rows.empty:
        return rates(_typed(names, names[4:]))
    work = rows[(rows["kind"] == "work") & (rows["step"] != "pack")]
    table = work.groupby(["batch", "flavour", "design"], as_index=False).agg(
        day=("day", "min"), seconds=("seconds", "sum")
    )
    table = table.merge(_good(rows, ["batch"]), how="inner", on="batch")
    table = table[(table["seconds"] > 0) & (table["good_mg"] > 0)].astype(dict.fromkeys(names[4:], "int64"))
    return rates(table[names].sort_values(["day", "batch"], ignore_index=True))


def learning(frame: pd.DataFrame, by: str = "design") -> pd.DataFrame:
    """The learning curve of each design (or flavour) over its batches, in minutes of all hands for a kilogram of sound pieces.

    Returns:
        `by`, ``batches``, ``first_minutes_per_kg`` and ``last_minutes_per_kg`` (on the curve), ``learning_ratio`` (time left at each
        doubling of batches; above 1: it gets slower), ``fit_ratio``. Only things made three times or more.
    """
    names = [by, "batches", "first_minutes_per_kg", "last_minutes_per_kg", "learning_ratio", "fit_ratio"]
    times = batch_times(frame)
    rows = []
    for key, group in times.groupby(by, sort=True):
        curve = learn(group["minutes_per_kg"])
        if curve is not None and key:
            rows.append((key, len(group), curve.first, curve.at(len(group)), curve.rate, curve.fit))
    return pd.DataFrame(rows, columns=names).astype({"batches": "int64", **dict.fromkeys(names[2:], "float64")})


def _typed(names: list[str], whole: list[str]) -> pd.DataFrame:
    return pd.DataFrame(
        {n: pd.Series(dtype="int64" if n in whole else "float64" if n.endswith("_ratio") else object) for n in names}
    )


__all__ = [
    "Learning",
    "batch_times",
    "by_day",
    "by_flavour",
    "by_step",
    "by_worker",
    "learn",
    "learning",
    "rates",
    "wright",
]
