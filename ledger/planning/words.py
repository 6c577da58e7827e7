"""A plan in words a maker acts on, each sentence with the keys of the figures it was made from.

Keys are addresses into the plan: ``item/KEY``, ``item/KEY/week/T``, ``week/T``, ``short/KEY/T``, ``line/KEY/T``, ``plan``.
Nothing here is canned: a sentence whose figures are not in the plan is not said.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from ledger.planning.finding import is_or_are, weeks_said
from ledger.planning.findings import sort_out
from ledger.planning.helps import Help, Hour
from ledger.planning.plan import Plan, Shortage
from ledger.planning.problem import Problem
from ledger.planning.reasons import margin_of
from ledger.planning.said import mass_said, money_said

FULL_PER_MILLE = 970
"""Share of its minutes from which a week's hands or station count as full."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence, what it is about (start, full, short, shows, ahead, helps, proof, finding) and the keys of its figures."""

    text: str
    about: str
    keys: tuple[str, ...]


def sentences(
    plan: Plan, problem: Problem, helps: Sequence[Help] = (), days_full: Collection[int] = (), hour: Hour | None = None
) -> list[Sentence]:
    """Everything worth saying, in the order a maker needs it.

    days_full: weeks whose hands were cut back to what their days can carry: there it is the days that are full, not the hands.
    """
    said = [Sentence(whole(message), "finding", (f"finding/{about}",)) for _, about, message in plan.findings]
    said += _starts(plan, problem)
    said += _full_weeks(plan, days_full)
    said += _short(plan, problem, days_full)
    said += _missed_shows(plan, problem)
    said += _ahead(plan, problem, days_full)
    said += _hour(plan, problem, hour)
    said += _helps(plan, problem, helps)
    said += _extra_hands(plan)
    said.append(_proof(plan, problem))
    return said


def whole(message: str) -> str:
    """A finding as a sentence: a capital first, a full stop last."""
    return message[:1].upper() + message[1:] + ("" if message.endswith((".", "!", "?")) else ".")


def _name(problem: Problem, key: str) -> str:
    return next((item.name for item in problem.items if item.key == key), key)


def _starts(plan: Plan, problem: Problem) -> list[Sentence]:
    said = []
    for item in problem.items:
        if item.season is None:
            continue
        lines = sorted((line for line in plan.lines if line.item == item.key), key=lambda line: line.week)
        if not lines:
            continue
        row = plan.of(item.key)
        batches, made = sum(line.batches for line in lines), sum(line.grams for line in lines)
        first, last = lines[0], lines[-1]
        begun = item.season.first_week <= 0 and item.opening_g >= 100
        text = f"{'Go on with' if begun else 'Start'} {item.name} in {first.label}"
        text += f", last batch in {last.label}" if last.week != first.week else ""
        plural = "batch" if batches == 1 else "batches"
        text += f": {batches} {plural}, {mass_said(made, problem.units)}"
        text += f" to the {mass_said(item.opening_g, problem.units)} in the house" if item.opening_g >= 100 else ""
        text += f"; {mass_said(sum(row.sold), problem.units)} should sell"
        left = f" and {mass_said(row.left, problem.units)} be left" if row.left >= 100 else ""
        if item.season.runs_on:  # what is left is no loss there
            left += f"{' ' if left else ', '}when {plan.weeks[-1].label} ends and its season goes on"
        text += f"{left}."
        said.append((first.week, Sentence(text, "start", (f"item/{item.key}", f"line/{item.key}/{first.week}"))))
    return [sentence for _, sentence in sorted(said, key=lambda pair: (pair[0], pair[1].text))]


def _full_weeks(plan: Plan, days_full: Collection[int] = ()) -> list[Sentence]:
    full: dict[str, list[int]] = {}
    for week in plan.weeks:
        if week.hands_there and week.hands_used * 1000 >= week.hands_there * FULL_PER_MILLE:
            full.setdefault("days" if week.week in days_full else "hands", []).append(week.week)
        for name, used, there in week.stations:
            if there and used * 1000 >= there * FULL_PER_MILLE:
                full.setdefault(name, []).append(week.week)
    said = []
    for name, weeks in sorted(full.items(), key=lambda pair: (pair[1][0], pair[0])):
        for first, last in spans(weeks):
            one, two = plan.weeks[first].label, plan.weeks[last].label
            when = f"In {one}" if first == last else f"From {one} to {two}"
            what = {"hands": "the hands are full", "days": "the making days are full, though hands are left"}.get(
                name, f"the {name} {is_or_are(name, 'is', 'are')} full"
            )
            keys = tuple(f"week/{t}" for t in range(first, last + 1))
            said.append(Sentence(f"{when} {what}.", "full", keys))
    return said


def spans(weeks: Sequence[int]) -> list[tuple[int, int]]:
    """Week numbers as runs of weeks in a row."""
    runs: list[tuple[int, int]] = []
    for week in sorted(weeks):
        if runs and runs[-1][1] == week - 1:
            runs[-1] = (runs[-1][0], week)
        else:
            runs.append((week, week))
    return runs


def _short(plan: Plan, problem: Problem, days_full: Collection[int] = (), most: int = 5) -> list[Sentence]:
    by_item: dict[str, list[Shortage]] = {}
    for shortage in plan.shortages:
        by_item.setdefault(shortage.item, []).append(shortage)
    order = sorted(by_item.items(), key=lambda pair: -sum(s.worth for s in pair[1]))
    said = []
    for key, rows in order[:most]:
        grams, worth = _missing(plan, problem, key)
        first, last = min(s.week for s in rows), max(s.week for s in rows)
        one, two = plan.weeks[first].label, plan.weeks[last].label
        when = f"in {one}" if first == last else f"between {one} and {two}"
        text = f"{mass_said(grams, problem.units)} of {_name(problem, key)} will be missing {when}, {money_said(problem, worth * 1000)} of margin"
        why = _why(plan, max(rows, key=lambda s: s.grams), days_full)
        text += f": {why}" if why else ""
        said.append(Sentence(f"{text}.", "short", tuple(f"short/{s.item}/{s.week}" for s in rows)))
    rest = order[most:]
    if rest:
        grams = sum(_missing(plan, problem, key)[0] for key, _ in rest)
        keys = tuple(f"item/{key}" for key, _ in rest)
        said.append(
            Sentence(
                f"{'1 more item misses' if len(rest) == 1 else f'{len(rest)} more items miss'} {mass_said(grams, problem.units)}{' together' if len(rest) > 1 else ''}.",
                "short",
                keys,
            )
        )
    return said


def _missing(plan: Plan, problem: Problem, key: str) -> tuple[int, int]:
    """Grams of an item that are missing over all weeks, and their margin in minor units (what they are taken to cost, where it has no price)."""
    grams = sum(plan.of(key).short)
    return grams, margin_of(problem.item(key)) * grams // 1000


def _missed_shows(plan: Plan, problem: Problem) -> list[Sentence]:
    """Weeks that promise more shows than the plan has batches good to show, with what is missing and what it is priced at."""
    clean, _ = sort_out(problem)
    good = {item.key for item in clean.items if item.good_to_show}
    said = []
    for use, week in zip(plan.weeks, clean.weeks, strict=True):
        batches = sum(line.batches for line in plan.lines if line.week == use.week and line.item in good)
        missed = week.shows - batches
        if missed > 0:
            shows = "show" if week.shows == 1 else "shows"
            text = (
                f"{use.label} promises {week.shows} {shows} and has {batches or 'no'} batch{'' if batches == 1 else 'es'} good to show: "
                f"one more would cost more than the {money_said(problem, problem.prices.missed_show * 1000)} a missed show is taken to cost, "
                "or does not fit; make room in that week, or move or drop the show."
            )
            said.append(Sentence(text, "shows", (f"week/{use.week}",)))
    return said


def _why(plan: Plan, shortage: Shortage, days_full: Collection[int] = ()) -> str:
    parts = []
    for reason in shortage.reasons[-3:]:
        one, two = plan.weeks[reason.first].label, plan.weeks[reason.last].label
        days = reason.resource == "hands" and all(t in days_full for t in range(reason.first, reason.last + 1))
        words = "the making days are full" if days else reason.words
        parts.append(f"{one if reason.first == reason.last else f'{one} to {two}'} {words}")
    return "; ".join(parts)


def _ahead(
    plan: Plan, problem: Problem, days_full: Collection[int] = (), least_weeks: int = 3, most: int = 3
) -> list[Sentence]:
    """Batches made well before they are needed, because the later weeks are full."""
    full = {w.week for w in plan.weeks if w.hands_there and w.hands_used * 1000 >= w.hands_there * FULL_PER_MILLE}
    said = []
    for row in plan.items:
        for week, made in enumerate(row.made):
            if not made or week in full:
                continue
            before = row.stock[week] - made
            needed = next(
                (t for t in range(week, len(row.demand)) if sum(row.sold[week + 1 : t + 1]) > max(0, before)), None
            )
            if needed is not None and needed - week >= least_weeks and needed in full:
                text = (
                    f"Make {mass_said(made, problem.units)} of {_name(problem, row.item)} already in {plan.weeks[week].label}: "
                    f"it is first needed in {plan.weeks[needed].label}, when the {'days' if needed in days_full else 'hands'} are full."
                )
                said.append((made, Sentence(text, "ahead", (f"line/{row.item}/{week}", f"week/{needed}"))))
    return [sentence for _, sentence in sorted(said, key=lambda pair: (-pair[0], pair[1].text))[:most]]


def _hour(plan: Plan, problem: Problem, hour: Hour | None) -> list[Sentence]:
    if hour is None:
        return []
    text = f"An hour more of {hour.what} in {plan.weeks[hour.week].label} would save {money_said(problem, hour.saves_milli)}."
    return [Sentence(text, "helps", (f"week/{hour.week}",))]


def _helps(plan: Plan, problem: Problem, helps: Sequence[Help]) -> list[Sentence]:
    said = []
    for h in helps:
        one, two = plan.weeks[h.weeks[0]].label, plan.weeks[h.weeks[-1]].label
        when = f"in {one}" if one == two else f"a week in {weeks_said(len(h.weeks))} from {one} to {two}"
        text = (
            f"One more helper shift {when} would bring {mass_said(h.brings_g, problem.units)} of the {mass_said(h.missing_g, problem.units)} of "
            f"{_name(problem, h.item)} that will be missing: the plan then calls {h.shifts} more {'shift' if h.shifts == 1 else 'shifts'} for "
            f"{money_said(problem, h.shifts_milli)}, and {money_said(problem, h.saves_milli)} is left over after paying for them."
        )
        said.append(Sentence(text, "helps", (f"item/{h.item}", *(f"week/{t}" for t in h.weeks))))
    return said


def _extra_hands(plan: Plan) -> list[Sentence]:
    shifts = [(w.label, w.helper_shifts, w.week) for w in plan.weeks if w.helper_shifts]
    said = []
    if shifts:
        total = sum(count for _, count, _ in shifts)
        names = ", ".join(f"{label} ({count})" for label, count, _ in shifts)
        plural = "shift" if total == 1 else "shifts"
        keys = tuple(f"week/{week}" for _, _, week in shifts)
        said.append(Sentence(f"The plan calls a helper for {total} {plural}: {names}.", "helps", keys))
    minutes = sum(w.overtime_minutes for w in plan.weeks)
    if minutes:
        keys = tuple(f"week/{w.week}" for w in plan.weeks if w.overtime_minutes)
        said.append(
            Sentence(
                f"It asks for {minutes / 60:.1f} hours of overtime in {len(keys)} {'week' if len(keys) == 1 else 'weeks'}.",
                "helps",
                keys,
            )
        )
    return said


def _proof(plan: Plan, problem: Problem) -> Sentence:
    better = plan.rule_milli - plan.cost_milli
    if plan.gap_ppm is None or plan.bound_milli is None:
        text = "How near this plan is to the best possible is not known"
    else:
        away = money_said(problem, plan.cost_milli - plan.bound_milli)
        none = money_said(problem, 0)
        text = f"This plan costs at most {plan.gap_ppm / 10_000:.2f} % more than the best possible"
        text += f" ({f'less than {money_said(problem, 1000 * problem.minor_per_major)}' if away == none else away})"
    text += (
        f", and {money_said(problem, better)} less than the best simple rule ({plan.rule})."
        if money_said(problem, max(0, better)) != money_said(problem, 0)
        else "."
    )
    if plan.stopped:
        text += " It was stopped early: more time may find a better one."
    return Sentence(text, "proof", ("plan",))
