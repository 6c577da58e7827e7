"""Two plans side by side: a change beside the plan it was tried on, a plan made anew beside the one in force."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.components.parts import table_of
from dashboard.components.season_parts import words
from ledger.application.season_beside import Beside
from ledger.application.season_plan import PlanMade
from ledger.application.season_sides import Figure, figures_of, side_rows, side_words
from ledger.planning.whatif import compare

MOST_LINES = 14
"""Lines that differ shown before the rest is folded."""


def side_by_side(made: PlanMade, trial: PlanMade, said: str) -> Any:
    """A change being tried beside the plan: their figures, the lines that moved, and the new plan's words."""
    figures = figures_of(made, trial)
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
    figures = figures_of(found.old, found.new)
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


def _both(made: PlanMade, figures: Sequence[Figure], one: str, two: str) -> Any:
    rows = side_rows(made, figures)
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


__all__ = ["beside_part", "side_by_side"]
