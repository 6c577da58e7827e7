"""The plan as a table to edit, and what a change typed into it does: cost, what is missing, the week that binds, at once."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.components.grid import Col, grid
from ledger.application.season_edit import Edited, edited
from ledger.application.season_jobs import Desk
from ledger.application.season_plan import PlanMade, Typed
from ledger.application.season_report import money
from ledger.planning.said import mass_said

NAME = "season-plan"
MOST = 99
_SHOWN = {"function": "params.value ? params.value : (params.node.rowPinned ? '' : '·')"}
_RULES = {
    "changed": "params.data['was ' + params.colDef.field] >= 0 && params.data['was ' + params.colDef.field] !== params.value",
    "some": "params.value > 0",
}


def weeks_shown(made: PlanMade, span: int) -> range:
    """The weeks of the table: `span` of them, from the first that still has a making day on."""
    weeks = made.problem.weeks
    first = next((t for t, week in enumerate(weeks) if week.days > 0), 0)
    return range(first, min(first + span, len(weeks)))


def plan_table(desk: Desk, span: int, every: bool = False) -> Any:
    """The plan of the next `span` weeks as whole batches, a row for each thing and kettle; `every`: also those with no batch in these weeks."""
    made = desk.base
    assert made is not None
    weeks = list(weeks_shown(made, span))
    wrapped = {
        "wrapText": True,
        "autoHeight": True,
        "sortable": False,
        "filter": False,
        "resizable": False,
        "cellClass": "what",
    }
    columns = [Col("what", "Batches", width=142, extra=wrapped)]
    for t in weeks:
        week = made.problem.weeks[t]
        editor = {"cellEditor": "agNumberCellEditor", "cellEditorParams": {"min": 0, "max": MOST, "precision": 0}}
        extra = {
            "sortable": False,
            "filter": False,
            "resizable": False,
            "valueFormatter": _SHOWN,
            "cellClassRules": _RULES,
            "flex": 1,
            **editor,
        }
        extra["wrapHeaderText"] = week.days <= 0  # `W48` in one piece also on a telephone
        extra["editable"] = {"function": "!params.node.rowPinned"} if week.days > 0 else False
        columns.append(
            Col(f"w{t}", week.label[5:] if week.days > 0 else f"{week.label[5:]} shut", "number", width=60, extra=extra)
        )
    title = f"The plan, {made.problem.weeks[weeks[0]].label} to {made.problem.weeks[weeks[-1]].label}"
    options = {
        "pinnedBottomRowData": hands_rows(desk, weeks), "enableCellTextSelection": False, "suppressRowHoverHighlight": False,
        "enterNavigatesVertically": True, "enterNavigatesVerticallyAfterEdit": True, "singleClickEdit": True,
    }  # fmt: skip
    return grid(
        NAME, title, columns, table_rows(desk, weeks, every), key="id", find=False, at_once=200, options=options
    )


def table_rows(desk: Desk, weeks: Sequence[int], every: bool = False) -> list[dict[str, Any]]:
    """Rows of the table with what is typed laid over the plan; `was w3` is what the plan says, so that a change can be seen. A flavour and kettle
    with no batch in the weeks shown has no row, unless `every` row is asked for or none has one."""
    made = desk.base
    assert made is not None
    shown = [pair for pair, used in _pairs(desk, weeks).items() if used or every]
    there = {(x.item, x.week, x.kettle): x.batches for x in made.plan.lines}
    kettles = list(dict.fromkeys(kettle for _, kettle in _pairs(desk, weeks)))
    rows = []
    for key, kettle in shown or _pairs(desk, weeks):
        name = made.name(key)
        row: dict[str, Any] = {"id": f"{key}@{kettle}", "what": f"{name}, {brief(kettle, kettles)}" if kettle else name}
        for t in weeks:
            if made.problem.weeks[t].days > 0:
                planned = there.get((key, t, kettle), 0)
                row |= {f"w{t}": desk.typed.get((key, t, kettle), planned), f"was w{t}": planned}
        rows.append(row)
    return rows


def _pairs(desk: Desk, weeks: Sequence[int]) -> dict[tuple[str, str], bool]:
    """(item, kettle) in the order of the plan, and whether it has a batch, planned or typed, in these weeks."""
    made = desk.base
    assert made is not None
    used = {(x.item, x.kettle) for x in made.plan.lines if x.week in set(weeks)} | {(i, k) for i, _, k in desk.typed}
    found: dict[tuple[str, str], bool] = {}
    for item in made.problem.items:
        kettles = [load.kettle for load in item.loads] or [""]
        found |= {(item.key, kettle): (item.key, kettle) in used for kettle in kettles}
    return found


def not_shown(desk: Desk, weeks: Sequence[int]) -> str:
    """Which rows the table leaves out because nothing is planned for them in these weeks; empty where none is."""
    made = desk.base
    assert made is not None
    pairs = _pairs(desk, weeks)
    empty = [pair for pair, used in pairs.items() if not used]
    if not empty or len(empty) == len(pairs):
        return ""
    busy = {key for (key, _), used in pairs.items() if used}
    idle = list(dict.fromkeys(made.name(key) for key, _ in empty if key not in busy))
    text = f"{len(empty)} {'row is' if len(empty) == 1 else 'rows are'} left out: a kettle in which nothing is planned of a flavour in these weeks."
    if idle:
        names = ", ".join(idle[:6]) + (f" and {len(idle) - 6} more" if len(idle) > 6 else "")
        text += f" Not made at all in these weeks: {names}."
    return text


def short(kettle: str) -> str:
    """A kettle's name as it stands behind a flavour's."""
    return kettle[0].lower() + kettle[1:] if kettle[1:2].islower() else kettle


def brief(kettle: str, kettles: Sequence[str]) -> str:
    """A kettle's name without the words all of them share, but for the last: `big kettle` where there are a big and a small copper kettle."""
    words = [name.split() for name in kettles if name]
    mine = kettle.split()
    shared = [word for word in mine[:-1] if len(words) > 1 and all(word in other for other in words)]
    return short(" ".join(word for word in mine if word not in shared))


def hands_rows(desk: Desk, weeks: Sequence[int]) -> list[dict[str, Any]]:
    """The last row: the share of the hands each week uses, of the plan as it would be with what is typed."""
    made = desk.trial if desk.by_hand and desk.trial is not None else desk.base
    assert made is not None
    used = {"id": "hands", "what": "hands used"}
    for t in weeks:
        week, there = made.plan.weeks[t], made.asked.problem.weeks[t].hands_minutes
        used[f"w{t}"] = f"{100 * week.hands_used // max(week.hands_there, there)} %" if week.hands_there else ""
    return [used]


def changes_of(events: Any) -> Typed:
    """What the grid tells of cells that changed: (item, week, kettle) -> batches. Anything that is no whole number from 0 on is taken as 0."""
    found: Typed = {}
    for event in events or []:
        item, _, kettle = str(event.get("rowId", "")).partition("@")
        week, value = str(event.get("colId", "")), event.get("value")
        if item and week[:1] == "w" and week[1:].isdigit():
            number = float(value) if isinstance(value, (int, float)) or str(value or "").strip().isdigit() else 0.0
            found[(item, int(week[1:]), kettle)] = min(MOST, max(0, int(number)))
    return found


def edit_panel(desk: Desk) -> Any:
    """What the typed changes do, with the buttons to take them back or keep them."""
    if desk.base is None:
        return None
    typed = len(desk.typed)
    hint = "Touch a number, or move with the arrow keys and type. What it does to cost, shortages and the fullest week is told here at once; nothing is kept until you say so."
    told: list[Any] = [html.P(hint, className="quiet")]
    if desk.refused:
        told = [html.P(desk.refused, className="refusal", role="alert")]
    elif typed and desk.trial is not None:
        told = edit_words(desk.base, desk.trial, edited(desk.base, desk.trial, typed))
    buttons = [
        ("season-undo", "Undo the last", not desk.past), ("season-undo-all", "Undo all", not typed),
        ("season-keep", "Keep my changes", not typed or desk.trial is None),
        ("season-again", "Keep mine, plan later weeks again", not typed or bool(desk.refused)),
    ]  # fmt: skip
    return [
        html.Div(told, className="edit-told", role="status", **{"aria-live": "polite"}),
        html.Div(
            [
                html.Button(text, id=id, type="button", className="plain", n_clicks=0, disabled=off)
                for id, text, off in buttons
            ],
            className="actions",
        ),
    ]


def edit_words(base: PlanMade, after: PlanMade, e: Edited) -> list[Any]:
    """The figures of a change by hand, in words."""
    more = e.cost_after - e.cost_before
    made, units = e.made_after_g - e.made_before_g, after.problem.units
    text = f"{e.changes} {'cell' if e.changes == 1 else 'cells'} changed: the plan costs {money(after, e.cost_after)} instead of {money(base, e.cost_before)}"
    text += "" if not more else f", {money(after, abs(more))} {'more' if more > 0 else 'less'}"
    text += f", and makes {mass_said(abs(made), units)} {'more' if made > 0 else 'less'}." if made else "."
    parts: list[Any] = [html.P(text, className="sentence")]
    lines = [
        f"{s.name} {_missing(s.after_g, units)}"
        + (
            f" ({_missing(s.before_g, units)} before)"
            if _missing(s.before_g, units) != _missing(s.after_g, units)
            else ""
        )
        for s in e.shorts
    ]
    words = (
        f"Missing over these weeks: {'; '.join(lines[:6])}."
        if lines
        else "Nothing of a tenth of a kilo or more is missing."
    )
    parts.append(html.P(words))
    if e.fullest is not None:
        verb = "are" if e.fullest.what in ("hands", "making days") else "is"
        parts.append(
            html.P(
                f"The fullest week is {e.fullest.label}: the {e.fullest.what} {verb} {100 * e.fullest.share:.0f} % used."
            )
        )
    parts += [
        html.P(f"In {label} the minutes suffice but no day is found for {', '.join(names)}.", className="note")
        for label, names in e.homeless[:3]
    ]
    return parts


def _missing(grams: int, units: str) -> str:
    return mass_said(grams, units) if grams >= 50 else "nothing"


__all__ = [
    "NAME",
    "changes_of",
    "edit_panel",
    "edit_words",
    "hands_rows",
    "not_shown",
    "plan_table",
    "table_rows",
    "weeks_shown",
]
