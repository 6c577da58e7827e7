"""Two plans told side by side: their figures, each with its difference, and what differs in a sentence."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.application.season_plan import PlanMade
from ledger.planning.said import mass_said, money_said
from ledger.planning.whatif import compare

Figure = tuple[str, int, int]
MINUS = "\u2212"
SIDE = {
    "cost_milli": "cost", "made_g": "made", "sold_g": "sold", "short_g": "missing", "left_g": "left over", "overtime_minutes": "overtime",
    "helper_shifts": "helper shifts", "brings_milli": "sales bring",
}  # fmt: skip


def figures_of(before: PlanMade, after: PlanMade) -> list[Figure]:
    """Cost, masses, takings, overtime and shifts of two plans: what, before, after."""
    figures = [(f.what, f.before, f.after) for f in compare(before.plan, after.plan).figures]
    figures.insert(3, ("brings_milli", brings(before), brings(after)))
    return figures


def brings(made: PlanMade) -> int:
    """What the plan's sales bring at today's prices, in thousandths of a minor unit."""
    prices = {item.key: item.price_per_kg for item in made.problem.items}
    return sum(sum(row.sold) * prices.get(row.item, 0) for row in made.plan.items)


def side_rows(made: PlanMade, figures: Sequence[Figure]) -> list[tuple[str, str, str, str]]:
    """Each figure in words: what, before, after, more or less."""
    return [(SIDE.get(w, w), _side(made, w, x), _side(made, w, y), _more(made, w, y - x)) for w, x, y in figures]


def side_words(made: PlanMade, figures: Sequence[Figure], who: str, none: str) -> str:
    """What `who` does more or less, in a sentence (`none`: what makes no difference): every figure that differs but what is left over."""
    by = {what: after - before for what, before, after in figures}
    verbs = (("cost_milli", "costs", ""), ("made_g", "makes", ""), ("sold_g", "sells", ""), ("short_g", "misses", ""), ("brings_milli", "brings", ""),
             ("overtime_minutes", "asks for", " overtime"), ("helper_shifts", "asks for", " helper shifts"))  # fmt: skip
    parts = [
        f"{verb} {_side(made, what, abs(by[what]))} {'more' if by[what] > 0 else 'less' if what != 'helper_shifts' else 'fewer'}{rest}"
        for what, verb, rest in verbs
        if what in by and _more(made, what, by[what]) != "same"
    ]
    return f"{who} {', '.join(parts)}." if parts else f"{none} no difference to cost, making or sales."


def _side(made: PlanMade, what: str, value: int) -> str:
    if what.endswith("_milli"):
        return money_said(made.problem, value)
    if what.endswith("_g"):
        return mass_said(value, made.problem.units)
    return f"{value / 60:.1f} h" if what == "overtime_minutes" else str(value)


def _more(made: PlanMade, what: str, value: int) -> str:
    """A difference with its sign in front; one that is nothing as it is shown is `same`."""
    shown = _side(made, what, abs(value))
    if shown == _side(made, what, 0):
        return "same"
    return f"{'+' if value > 0 else MINUS}{shown}"


__all__ = ["Figure", "brings", "figures_of", "side_rows", "side_words"]
