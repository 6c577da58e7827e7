"""Plan against actual: what the kept sheet said, what was weighed and counted, and off by how much, batch by batch and portion by portion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from ledger.analytics.flows import flows
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Basis, Report, Table, basis, columns
from ledger.application.sheets import kept
from ledger.application.sheets_facts import believed_in
from ledger.craft.compare import PlanAgainstActual, plan_against_actual, planned_lines
from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_text import percent
from ledger.domain.batch.events import BatchSheetIssued
from ledger.errors import UnknownThing
from ledger.quantities import mass_text, temperature_text

LINE_COLUMNS = columns(
    ("title", "what"), ("planned", "planned", "row"), ("actual", "weighed", "row"), ("off", "off by", "row"), ("off_ratio", "off", "change"),
)  # fmt: skip
EXTRA_COLUMNS = columns(("title", "what"), ("mass_mg", "weighed", "mass"))
BATCH_COLUMNS = columns(
    ("batch", "batch"), ("day", "day", "day"), ("flavour", "flavour", "flavour"), ("design", "design", "design"),
    ("cooked_planned", "cooked, planned", "mass"), ("cooked", "cooked", "mass"), ("cooked_off", "off", "change"),
    ("pieces_planned", "pieces, planned", "count"), ("pieces", "pieces", "count"), ("pieces_off", "off", "change"),
    ("packs_planned", "packs, planned", "count"), ("packs", "packs", "count"), ("packs_off", "off", "change"),
)  # fmt: skip
_KIND = {"mg": "mass", "pieces": "count", "packs": "count", "rods": "count", "mc": "number"}
SMALL_MG = 500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What the ledger holds of a batch: by key of the sheet, and what the sheet has no line for (title, milligrams)."""

    by_key: Mapping[str, int]
    beyond: tuple[tuple[str, int], ...]


def recorded(on: Basis, sheet: BatchSheet, called: Mapping[str, set[str]]) -> Recorded:
    """Everything recorded of a batch, put under the keys of its sheet. called: every name of each material (`material_names`)."""
    planned = {key: title for key, title, *_ in planned_lines(sheet)}
    moves = on.queries.postings(batch=sheet.batch, known=on.known)
    actual: dict[str, int] = {}
    beyond: list[tuple[str, int]] = []
    if moves.empty:
        return Recorded(by_key=actual, beyond=())
    cook = moves[moves["step"] == "cook"]
    if not cook.empty:
        row = flows(moves, ()).iloc[0]
        actual["cooked"] = int(row["charged_mg"] - row["evaporated_mg"])
        actual["boiled-off"] = int(row["evaporated_mg"])
        _weighed(on, sheet, cook, planned, called, actual, beyond)
    end = _end_temperature(on, sheet.batch)
    if end:
        actual["end"] = end
    _portions(on, sheet, moves, planned, actual, beyond)
    _counts(moves, sheet, actual)
    return Recorded(by_key=actual, beyond=tuple(beyond))


def _weighed(
    on: Basis, sheet: BatchSheet, cook: pd.DataFrame, planned: Mapping[str, str], called: Mapping[str, set[str]],
    actual: dict[str, int], beyond: list[tuple[str, int]],
) -> None:  # fmt: skip
    water = next((line for line in sheet.charge if line.role == "water"), None)
    mains = -int(cook.loc[cook["kind"] == "water", "mass_mg"].sum())
    if water is not None:
        actual[water.key] = mains
    elif mains:
        beyond.append(("mains water", mains))
    taken = cook[cook["kind"].isin(["lot.material", "lot.reboil"]) & (cook["mass_mg"] < 0)]
    for row in taken.groupby(["kind", "item"], sort=True)["mass_mg"].sum().reset_index().to_dict("records"):
        kind, item, mass = str(row["kind"]), str(row["item"]), int(row["mass_mg"])
        names = called.get(item, {item})
        keys = [
            key
            for key, title in planned.items()
            if key.split(":")[0] in ("charge", "addition", "dye") and title in names
        ]
        if len(keys) == 1:
            actual[keys[0]] = actual.get(keys[0], 0) - mass
        elif keys:  # the same material in several lines: shared out as planned
            _share(sheet, keys, -mass, actual)
        else:
            beyond.append((f"re-boil of {item}" if kind == "lot.reboil" else on.shop.name("item", item), -mass))


def _share(sheet: BatchSheet, keys: list[str], mass: int, actual: dict[str, int]) -> None:
    plan = {line.key: line.mass_mg for line in (*sheet.charge, *sheet.additions, *sheet.dyes)}
    whole, left = sum(plan[k] for k in keys) or 1, mass
    for key in keys[1:]:
        actual[key] = mass * plan[key] // whole
        left -= actual[key]
    actual[keys[0]] = left


def material_names(on: Basis) -> dict[str, set[str]]:
    """Every name each material has had: a sheet keeps the one of its day."""
    found: dict[str, set[str]] = {}
    for row in on.queries.book_history("material").to_dict("records"):
        found.setdefault(str(row["id"]), {str(row["id"])}).add(str(row["data"].get("name", "")))
    return found


def _end_temperature(on: Basis, batch: str) -> int:
    ends = [
        int(data.get("end_temperature_mc", 0))
        for name, data in believed_in(on.queries, batch, on.known)
        if name == "batch.cooked"
    ]
    return max(ends, default=0)


def _portions(
    on: Basis, sheet: BatchSheet, moves: pd.DataFrame, planned: Mapping[str, str], actual: dict[str, int], beyond: list[tuple[str, int]]
) -> None:  # fmt: skip
    """Poured is what the cook gave; a portion is what went into the log, or what a blend gave."""
    lots = on.queries.lots(holding=False, batch=sheet.batch)
    portion = dict(zip(lots["lot"], lots["portion"], strict=True))
    only = sheet.portions[0].key if len(sheet.portions) == 1 else ""
    pours: dict[str, int] = {}
    parts: dict[str, int] = {}
    for row in moves[moves["kind"] == "lot.mass"].to_dict("records"):
        name, mass = str(portion.get(row["account"], "")), int(row["mass_mg"])
        name = only or name
        if row["step"] == "cook" and mass > 0:
            pours[name] = pours.get(name, 0) + mass
        elif row["step"] in ("build", "roll") and mass < 0:
            parts[name] = parts.get(name, 0) - mass
    for kind, found in (("pour", pours), ("portion", parts)):
        for name, mass in found.items():
            if f"{kind}:{name}" in planned:
                actual[f"{kind}:{name}"] = mass
            else:
                beyond.append(
                    (f"{'poured' if kind == 'pour' else 'built in'}: {name or 'portion without a name'}", mass)
                )


def _counts(moves: pd.DataFrame, sheet: BatchSheet, actual: dict[str, int]) -> None:
    def made(kind: str, step: str, measure: str) -> int:
        rows = moves[(moves["kind"] == kind) & (moves["step"] == step) & (moves[measure] > 0)]
        return int(rows[measure].sum())

    for key, kind, step, measure in (
        ("rods", "lot.rods", "roll", "pieces"), ("good-pieces", "lot.pieces", "cut", "pieces"), ("packs", "lot.packs", "pack", "packs"),
    ):  # fmt: skip
        count = made(kind, step, measure)
        if count:
            actual[key] = count


def compared(
    on: Basis, ledger: Ledger, batch: str, called: Mapping[str, set[str]] | None = None
) -> tuple[BatchSheet, tuple[PlanAgainstActual, ...], Recorded]:
    """The newest sheet of a batch against what was recorded. Raises UnknownThing: no such batch, or it has no sheet."""
    sheet = kept(ledger, batch, on.known)
    found = recorded(on, sheet, called if called is not None else material_names(on))
    return sheet, plan_against_actual(sheet, found.by_key), found


def batch_report(ledger: Ledger, batch: str, known: int | str | None = None) -> Report:
    """Plan against actual of one batch: materials, cook, portions, counts.

    Raises:
        UnknownThing: no such batch, or no sheet was issued for it.
    """
    on = basis(ledger, known)
    sheet, lines, found = compared(on, ledger, batch)
    units = on.shop.units
    groups = {
        "materials": ("Weighed in", ("charge", "addition", "dye")),
        "cook": ("Cook", ("cooked", "boiled-off")),
        "portions": ("Portions", ("pour", "portion")),
        "counts": ("Rods, pieces, packs", ("rods", "good-pieces", "packs")),
    }
    tables = {
        name: Table(title, _frame([x for x in lines if x.key.split(":")[0] in keys]), LINE_COLUMNS)
        for name, (title, keys) in groups.items()
    }
    if found.beyond:
        extra = pd.DataFrame(found.beyond, columns=["title", "mass_mg"])
        tables["beyond"] = Table("Recorded, and not on the sheet", extra, EXTRA_COLUMNS)
    by_key = {x.key: x for x in lines}
    end, cooked, pieces = by_key["end"], by_key["cooked"], by_key["good-pieces"]
    said = [f"Batch {batch}, {sheet.design} in {sheet.flavour}."]
    if cooked.actual is None:
        said.append("Nothing of it has been cooked yet.")
    else:
        said.append(
            f"Cooked {mass_text(cooked.actual, units)} of {mass_text(cooked.planned, units)} planned ({_off(cooked)})."
        )
        if end.actual is not None:
            said.append(
                f"The cook ended at {temperature_text(end.actual, units)}, planned {temperature_text(end.planned, units)}."
            )
    if pieces.actual is not None:
        said.append(f"{pieces.actual} good pieces for {pieces.planned} planned ({_off(pieces)}).")
    far = max(
        (x for x in lines if x.off_ppm is not None and x.key.split(":")[0] == "pour"),
        key=lambda x: abs(x.off_ppm or 0),
        default=None,
    )
    if far is not None and abs(far.off_ppm or 0) >= 20_000:
        said.append(f"Furthest off among the pours: {far.title}, {_off(far)}.")
    return Report("sheet-compare", f"Plan against actual, batch {batch}", on.as_of, " ".join(said), tables, (), on.shop)


def _off(line: PlanAgainstActual) -> str:
    if line.off_ppm is None:
        return "no share"
    return (
        "as planned"
        if abs(line.off_ppm) < 500
        else f"{percent(abs(line.off_ppm))} {'over' if line.off_ppm > 0 else 'under'}"
    )


def _frame(lines: list[PlanAgainstActual]) -> pd.DataFrame:
    rows = [
        {
            "key": x.key,
            "title": {"pour": f"poured: {x.title}", "portion": f"built in: {x.title}"}.get(
                x.key.split(":")[0], x.title
            ),
            "planned": x.planned,
            "actual": x.actual,
            "off": x.off,
            "off_ratio": None if x.off_ppm is None else x.off_ppm / 1e6,
            "kind": "small" if x.unit == "mg" and x.planned < SMALL_MG else _KIND[x.unit],
        }
        for x in lines
    ]
    frame = pd.DataFrame(rows, columns=["key", "title", "planned", "actual", "off", "off_ratio", "kind"])
    for name in ("planned", "actual", "off"):
        frame[name] = pd.Series([float("nan") if r[name] is None else r[name] for r in rows], dtype=object)
    frame["off_ratio"] = frame["off_ratio"].astype("float64")
    return frame


def all_report(ledger: Ledger, known: int | str | None = None, most: int = 60) -> Report:
    """The latest batches that have a sheet: cooked mass, pieces and packs, planned and made. Newest first."""
    on = basis(ledger, known)
    papers: dict[str, BatchSheetIssued] = {}
    for at, event in on.queries.papers("sheet"):
        if at <= on.known:
            papers.pop(event.batch, None)  # the newest sheet of a batch counts, and stands last
            papers[event.batch] = event
    rows = []
    called = material_names(on)
    for batch in list(papers)[-most:]:
        try:
            sheet, lines, _ = compared(on, ledger, batch, called)
        except UnknownThing:
            continue
        by_key = {x.key: x for x in lines}
        row: dict[str, object] = {
            "batch": batch, "day": sheet.planned_for, "flavour": papers[batch].flavour, "design": papers[batch].design,
        }  # fmt: skip
        for name, key in (("cooked", "cooked"), ("pieces", "good-pieces"), ("packs", "packs")):
            one = by_key[key]
            row |= {
                f"{name}_planned": one.planned,
                name: one.actual,
                f"{name}_off": None if one.off_ppm is None else one.off_ppm / 1e6,
            }
        rows.append(row)
    frame = pd.DataFrame(rows, columns=[c.name for c in BATCH_COLUMNS])
    for name in ("cooked", "pieces", "packs", "cooked_off", "pieces_off", "packs_off"):
        frame[name] = frame[name].astype("float64")
    frame = frame.sort_values(["day", "batch"], ascending=False, ignore_index=True)
    if frame.empty:
        text = "No sheet was issued yet. Plan one with `slabbook size DESIGN --packs 40`, issue it with `slabbook sheet DESIGN --packs 40`."
        return Report("sheet-compare", "Plan against actual", on.as_of, text, {}, (), on.shop)
    done = int(frame["pieces"].notna().sum())
    text = f"{len(frame)} {'batch has' if len(frame) == 1 else 'batches have'} a sheet; {done or 'none'} of them cut."
    if done:
        mean = float(frame["pieces_off"].mean())
        text += f" Good pieces came out {abs(mean) * 100:.1f} % {'over' if mean >= 0 else 'under'} the plan on the mean of batches."
    tables = {"batches": Table("Batches with a sheet", frame, BATCH_COLUMNS)}
    return Report("sheet-compare", "Plan against actual", on.as_of, text, tables, (), on.shop)


__all__ = ["Recorded", "all_report", "batch_report", "compared", "recorded"]
