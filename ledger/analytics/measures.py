"""Every measure once: its name in a frame, its words, formula, and where the formula comes from. The glossary is written from this."""

from __future__ import annotations

from dataclasses import dataclass

ISO = "ISO 22400-2:2014"
SIX_SIGMA = "Six Sigma texts"
COMMON = "common practice, no source"
OURS = "ours"


@dataclass(frozen=True, slots=True)
class Measure:
    """name: its column in frames and files. better: ``higher``, ``lower`` or empty. note: where the trade differs, or what to beware of."""

    name: str
    title: str
    formula: str
    source: str
    better: str = ""
    note: str = ""


MEASURES = (
    Measure("charged_mg", "charged", "materials + mains water + re-boil that went into the kettle", OURS, "", "ISO calls it consumed material, CM."),
    Measure("solids_mg", "dry solids charged", "sum over inputs of mass x dry share", "mass balance of a cook"),
    Measure("evaporated_mg", "boiled off", "charged - cooked mass, within the moisture band of the recipe", "mass balance of a cook", "",
            "What lies outside the band cannot be water and is unexplained."),
    Measure("theory_mg", "boiled off by the recipe", "charged - dry solids / (1 - moisture)", "mass balance of a cook"),
    Measure("cooked_mg", "cooked", "charged - boiled off", "mass balance of a cook", "", "The produced quantity, PQ, of the shares below."),
    Measure("theoretical_mg", "theoretical mass", "dry solids / (1 - moisture) = charged - boiled off by the recipe", "mass balance of a cook"),
    Measure("kettle_yield_ratio", "kettle yield", "poured / charged", COMMON, "higher", "About 80 % without any waste: the rest is water."),
    Measure("theory_yield_ratio", "theoretical yield", "theoretical mass / charged", "mass balance of a cook", "higher"),
    Measure("process_yield_ratio", "process yield", "sound pieces cut / theoretical mass", COMMON, "higher",
            "The measure to judge a batch by: water is no loss in it. A cook left wetter than the recipe can exceed 100 %."),
    Measure("solids_yield_ratio", "yield on dry solids", "sound pieces x (dry solids / cooked) / dry solids charged", COMMON, "higher",
            "Does not move when a cook is left wetter or drier."),
    Measure("finished_goods_ratio", "finished goods ratio", "GQ / CM = sound pieces / charged", ISO, "higher", "Evaporated water counts against it."),
    Measure("rework_ratio", "re-boil", "RQ / PQ = kept for re-boil / cooked", ISO, "lower",
            "ISO counts recycled matter as scrap; in this trade clean ends go back into a later cook, so they are rework here and never scrap."),
    Measure("scrap_ratio", "scrap", "SQ / PQ = scrap while making / cooked", f"{ISO} (from memory)", "lower",
            "Goods thrown away later, off the shelf, are not in it; they have their own line."),
    Measure("unexplained_ratio", "unexplained", "(charged - evaporated - sound - re-boil - scrap - aside - change in work) / cooked", OURS, "lower",
            "Within 1 % is good, over 2 % look for it (common practice, no source). Below zero: more came out than went in."),
    Measure("first_pass_ratio", "first-pass yield", "sound mass out / mass in (cook: / cooked)", f"{SIX_SIGMA}; {ISO}: good parts / inspected parts",
            "higher", "Milligrams stand for parts: candy in work is one mass."),
    Measure("rolled_throughput_ratio", "rolled throughput yield", "product of the first-pass yields from cook to cut", SIX_SIGMA, "higher",
            "A loss on a pulled or blended portion counts by the portion's share of the pour. Packing is left out."),
    Measure("defects_per_unit", "defects per unit", "-ln(rolled throughput yield)", SIX_SIGMA, "lower"),
    Measure("expected_pieces", "pieces expected", "theoretical mass x process yield of the recipe / planned mass of a piece", OURS),
    Measure("minutes_per_kg", "minutes a kilogram", "minutes of all hands / kg of sound pieces (packing: kg packed)", COMMON, "lower"),
    Measure("minutes_per_thousand_pieces", "minutes a thousand pieces", "minutes of all hands x 1000 / sound pieces", COMMON, "lower"),
    Measure("learning_ratio", "learning rate", "2^b, where unit n takes T1 n^b", "Wright 1936", "lower", "85 %: each doubling of batches leaves 85 % of the time."),
    Measure("cover_days", "days of cover", "free stock / (use of the last 28 days / 28)", COMMON, "", "Closed days count; 28 days hold every weekday four times."),
    Measure("center", "middle line", "mean of the weekly figures", "NIST/SEMATECH e-Handbook 6.3.2.2"),
    Measure("upper", "control limits", "mean +/- 3 x mean moving range / 1.128 (= 2.66 mean moving ranges)", "NIST/SEMATECH e-Handbook 6.3.2.2"),
    Measure("range_upper", "largest usual move", "3.267 x mean moving range", "table of factors, D4 for two; Montgomery"),
)  # fmt: skip


def markdown() -> str:
    """The measures as a Markdown table."""
    lines = ["| measure | column | formula | better | source |", "|---|---|---|---|---|"]
    for m in MEASURES:
        note = f"<br>{m.note}" if m.note else ""
        lines.append(f"| **{m.title}** | `{m.name}` | {m.formula}{note} | {m.better} | {m.source} |")
    return "\n".join(lines) + "\n"


__all__ = ["MEASURES", "Measure", "markdown"]
