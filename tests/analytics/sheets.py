"""Small frames of posting lines written by hand, and a random but balanced history for the property tests."""

from __future__ import annotations

import pandas as pd
from hypothesis import strategies as st

MEASURES = ("mass_mg", "pieces", "packs", "seconds", "money", "solids_mg", "theory_mg")
KEYS = ("day", "week", "step", "batch", "flavour", "design", "channel", "kind", "account", "item")


def line(step: str, kind: str, mass_mg: int = 0, **more: object) -> dict[str, object]:
    """One posting line of the lemon star batch 26045A on 14 February 2026, unless it says otherwise."""
    row: dict[str, object] = dict.fromkeys(KEYS, "") | dict.fromkeys(MEASURES, 0)
    row |= {"day": "2026-02-14", "week": "2026-W07", "batch": "26045A", "flavour": "LEMON", "design": "STAR"}
    return row | {"step": step, "kind": kind, "mass_mg": mass_mg} | more


def frame(*rows: dict[str, object]) -> pd.DataFrame:
    """A frame of posting lines with every column, also when there are none."""
    table = pd.DataFrame(list(rows), columns=[*KEYS, *MEASURES])
    return table.astype(dict.fromkeys(MEASURES, "int64")).astype(dict.fromkeys(KEYS, object))


def worked_cook(**more: object) -> list[dict[str, object]]:
    """Sugar 10 kg, syrup 6 kg, water 3 kg: 19.000 kg charged, 3.880 boiled off, 15.120 cooked; cut to 13.900 kg sound."""
    rows = [
        line("cook", "lot.material", -10_000_000, account="S", item="SUGAR", solids_mg=10_000_000),
        line("cook", "lot.material", -6_000_000, account="G", item="SYRUP", solids_mg=4_818_000),
        line("cook", "water", -3_000_000, account="mains"),
        line("cook", "lot.mass", 15_120_000, account="26045A-C1"),
        line("cook", "air", 3_880_000, account="evaporated", theory_mg=3_879_592),
        line("cook", "work", account="cook", seconds=3600),
        line("cook", "worker", account="AB", seconds=-3600),
        line("build", "lot.mass", -15_120_000, account="26045A-C1"),
        line("build", "lot.log", 15_120_000, account="26045A-L1"),
        line("roll", "lot.log", -15_120_000, account="26045A-L1"),
        line("roll", "lot.rods", 15_120_000, account="26045A-R1"),
        line("cut", "lot.rods", -15_120_000, account="26045A-R1"),
        line("cut", "lot.pieces", 13_940_000, account="26045A-K1", pieces=6190),
        line("cut", "lot.reboil", 620_000, account="26045A-B1"),
        line("cut", "scrap", 300_000, account="ends"),
        line("cut", "scrap", 60_000, account="crumbs"),
        line("cut", "unexplained", 200_000, account="cut"),
        line("cut", "work", account="cut", seconds=1800),
        line("cut", "worker", account="AB", seconds=-900),
        line("cut", "worker", account="CD", seconds=-900),
        line("sample", "lot.pieces", -40_000, account="26045A-K1", pieces=-18),
        line("sample", "sample", 40_000, account="tasting", pieces=18),
    ]
    return [row | more for row in rows]


@st.composite
def histories(draw: st.DrawFn) -> pd.DataFrame:
    """Any balanced history of some batches: every entry sums to zero, amounts are arbitrary whole milligrams."""
    mass = st.integers(1, 30_000_000)
    rows: list[dict[str, object]] = []
    for number in range(draw(st.integers(0, 4))):
        about = {
            "batch": f"B{number}", "flavour": draw(st.sampled_from(["LEMON", "ANISE", "ROSE"])),
            "design": draw(st.sampled_from(["STAR", "HEART"])), "week": draw(st.sampled_from(["2026-W07", "2026-W08"])),
        }  # fmt: skip
        left, water = draw(mass), draw(mass)
        rows.append(line("cook", "lot.material", -left, **about))
        rows.append(line("cook", "water", -water, **about))
        left = _pass_on(draw, rows, "cook", left + water, "lot.mass", about, air=True)
        before = "lot.mass"
        for step, after in (("pull", "lot.mass"), ("build", "lot.log"), ("roll", "lot.rods"), ("cut", "lot.pieces")):
            used = draw(st.integers(0, left))
            rows.append(line(step, before, -used, **about))
            left = _pass_on(draw, rows, step, used, after, about)
            before = after
        packed = draw(st.integers(0, left))
        rows.append(line("pack", "lot.pieces", -packed, **about))
        _pass_on(draw, rows, "pack", packed, "lot.packs", about)
        tasted = draw(st.integers(0, left - packed))
        rows.append(line("sample", "lot.pieces", -tasted, **about))
        rows.append(line("sample", "sample", tasted, account="tasting", **about))
    return frame(*rows)


def _pass_on(
    draw: st.DrawFn,
    rows: list[dict[str, object]],
    step: str,
    mass: int,
    into: str,
    about: dict[str, object],
    *,
    air: bool = False,
) -> int:
    """Split what went in over scrap, re-boil, air and a riddle (which may be negative); the rest goes on."""
    gone = sorted(draw(st.lists(st.integers(0, mass), min_size=3, max_size=3)))
    scrap, reboil, boiled = gone[0], gone[1] - gone[0], gone[2] - gone[1] if air else 0
    riddle = draw(st.integers(-1_000_000, 1_000_000))
    rest = mass - scrap - reboil - boiled - riddle
    if rest < 0:
        riddle, rest = riddle + rest, 0
    rows.append(line(step, "scrap", scrap, account=draw(st.sampled_from(["ends", "crumbs", "picture"])), **about))
    rows.append(line(step, "lot.reboil", reboil, **about))
    rows.append(line(step, "air", boiled, account="evaporated", **about))
    rows.append(line(step, "unexplained", riddle, account=step, **about))
    rows.append(line(step, into, rest, **about))
    return rest
