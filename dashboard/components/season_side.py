"""Two plans side by side: a change beside the plan it was tried on, a plan made anew beside the one in force."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.components.parts import table_of
from dashboard.components.season_parts import words
from ledger.application.season_beside import Beside
from ledger.application.season_plan import PlanMade
from ledger.application.season_report import money
from ledger.planning.said import mass_said
from ledger.planning.whatif import compare

MINUS = "\u2212"
SIDE = {
    "cost_milli": "cost", "made_g": "made", "sold_g": "sold", "short_g": "missing", "left_g": "left over", "overtime_minutes": "overtime",
    "helper_shifts": "helper shifts", "brings_milli": "sales bring",
}  # fmt: skip
MOST_LINES = 14
"""Lines that differ shown before the rest is folded."""


def side_by_side(made: PlanMade, trial: PlanMade, said: str) -> Any:
    """A change being tried beside the plan: their figures, the lines that moved, and the new plan's words."""
    figures = _figures(made, trial)
    labels = [w.label for w in trial.problem.weeks]
    parts: list[Any] = [
        html.H2(f"What if: {said}"),
        html.P(side_words(made, figures, "With the change the plan", "The change makes"), className="sentence"),
        html.P(f"Answered in {trial.seconds:.1f} s.{' It was stopped early.' if trial.plan.stopped else ''}", className="quiet"),
        _both(made, figures, "the plan", "changed"),
        *_moved(made, trial),
        html.Details([html.Summary("The changed plan in words"), words(trial.words, labels)]),
    ]  # fmt: skip
    return html.Section(parts, className="trial", id="season-trial")


def beside_part(found: Beside) -> Any:
    """What is left of the plan in force beside the plan made anew, over the weeks both cover."""
    figures = _figures(found.old, found.new)
    said = side_words(found.old, figures, "The new plan", "The new plan makes")
    further = f"; the new one looks on to {found.looks_on_to}" if found.looks_on_to > found.through else ""
    parts: list[Any] = [
        html.H2(f"The plan in force beside the new one: {found.plan}"),
        html.P(said, className="sentence"),
        html.P(
            f"Both through {found.through}, on today's stock and demand{further}. Adopt the new plan, or forget it and {found.plan} stays.",
            className="quiet",
        ),
        _both(found.old, figures, "in force", "new"),
        *_moved(found.old, found.new, 0),
    ]
    return html.Section(parts, className="trial", id="season-beside")


def _figures(before: PlanMade, after: PlanMade) -> list[tuple[str, int, int]]:
    figures = [(f.what, f.before, f.after) for f in compare(before.plan, after.plan).figures]
    figures.insert(3, ("brings_milli", brings(before), brings(after)))
    return figures


def _both(made: PlanMade, figures: Sequence[tuple[str, int, int]], one: str, two: str) -> Any:
    rows = [(SIDE.get(w, w), _side(made, w, x), _side(made, w, y), _more(made, w, y - x)) for w, x, y in figures]
    return html.Div(table_of("Both plans", ["figure", one, two, "more or less"], rows, (1, 2, 3)), className="both")


def _moved(before: PlanMade, after: PlanMade, most: int = MOST_LINES) -> list[Any]:
    """The lines that differ, week by week, the first ones open."""
    lines = compare(before.plan, after.plan).lines
    rows = [
        (x.label, before.name(x.item) if before.name(x.item) != x.item else after.name(x.item), str(x.before), str(x.after))
        for x in lines
    ]  # fmt: skip
    if not rows:
        return [html.P("No line moves.", className="quiet")]
    heads, right = ["week", "what", "before", "after"], (2, 3)
    said = f"{len(rows)} {'line differs' if len(rows) == 1 else 'lines differ'}"
    parts: list[Any] = [table_of(said, heads, rows[:most], right)] if most else []
    if len(rows) > most:
        rest = table_of("", heads, rows[most:], right)
        parts.append(html.Details([html.Summary(f"{len(rows) - most} more lines" if most else said), rest]))
    return parts


def brings(made: PlanMade) -> int:
    """What the plan's sales bring at today's prices, in thousandths of a minor unit."""
    prices = {item.key: item.price_per_kg for item in made.problem.items}
    return sum(sum(row.sold) * prices.get(row.item, 0) for row in made.plan.items)


def side_words(made: PlanMade, figures: Sequence[tuple[str, int, int]], who: str, none: str) -> str:
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
        return money(made, value)
    if what.endswith("_g"):
        return mass_said(value, made.problem.units)
    return f"{value / 60:.1f} h" if what == "overtime_minutes" else str(value)


def _more(made: PlanMade, what: str, value: int) -> str:
    """A difference with its sign in front; one that is nothing as it is shown is `same`."""
    shown = _side(made, what, abs(value))
    if shown == _side(made, what, 0):
        return "same"
    return f"{'+' if value > 0 else MINUS}{shown}"


__all__ = ["beside_part", "brings", "side_by_side", "side_words"]
