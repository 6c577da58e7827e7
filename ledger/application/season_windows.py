"""When a flavour sold only for a season sells next, as weeks of the plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from ledger.application.season_forecast import Made
from ledger.application.season_settings import MOST_WEEKS, PlanSettings
from ledger.domain.books import entries as e
from ledger.planning import Item, Season
from ledger.planning.said import listed


def season_of(
    forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings, material: int, name: str, notes: list[str]
) -> Season | None:
    """First and last week in which a season flavour sells next, counted from the first week planned; None for one sold all year."""
    runs = _runs(forecast, flavour, start, settings)
    if runs is None:
        return None
    ahead = [run for run in runs if run[1] >= start]
    salvage = material * settings.salvage_percent // 100
    if not ahead:
        feasts = ", ".join(w.feast for w in forecast.seen.settings.windows_of(flavour.id))
        after = {w.feast: w.days_after for w in forecast.seen.settings.windows_of(flavour.id)}
        when = (
            f"was last on {runs[-1][1] - timedelta(days=after[runs[-1][2]])}"
            if runs
            else "has no day in the book near these weeks"
        )
        notes.append(f"{name}: its feast {feasts} {when}; enter its next date in the book. Nothing is planned for it.")
        return Season(first_week=-2, last_week=-1, salvage_per_kg=salvage)
    first, last = (ahead[0][0] - start).days // 7, (ahead[0][1] - start).days // 7
    if last >= settings.weeks:
        return Season(first_week=max(0, first), last_week=settings.weeks - 1, salvage_per_kg=material, runs_on=True)
    if len(ahead) > 1 and ahead[1][0] < start + timedelta(weeks=settings.weeks):
        notes.append(
            f"{name}: its season through {ahead[0][1]} is planned; the next, from {ahead[1][0]} for {ahead[1][2]}, is not. Plan again then."
        )
    return Season(first_week=max(0, first), last_week=last, salvage_per_kg=salvage)


def begins_after(forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings) -> bool:
    """Whether a season flavour's next season begins only after the last week planned."""
    ahead = [run for run in _runs(forecast, flavour, start, settings) or [] if run[1] >= start]
    return bool(ahead) and ahead[0][0] >= start + timedelta(weeks=settings.weeks)


def running_on(items: Sequence[Item], forecast: Made, start: date, settings: PlanSettings) -> list[str]:
    """Flavours whose season goes on after the weeks planned, and how many weeks show all of it, as sentences."""
    ends: dict[date, list[str]] = {}
    for item in items:
        if item.season is not None and item.season.runs_on:
            runs = _runs(forecast, forecast.seen.on.book.get(e.Flavour, item.flavour), start, settings) or []
            ends.setdefault(next(run[1] for run in runs if run[1] >= start), []).append(item.name)
    found = []
    for end, names in sorted(ends.items()):
        weeks = (end - start).days // 7 + 1
        more = f"plan {weeks} weeks to see all of it" if weeks <= MOST_WEEKS else "plan again later to see all of it"
        whose = "its season runs" if len(names) == 1 else "their season runs"
        found.append(f"{listed(names)}: {whose} on to {end}, beyond these weeks; {more}.")
    return found


def _runs(
    forecast: Made, flavour: e.Flavour, start: date, settings: PlanSettings
) -> list[tuple[date, date, str]] | None:
    """First and last day and feast of a flavour's seasons, oldest first, from long ago to beyond the weeks planned; None for one sold all year."""
    windows = forecast.seen.settings.windows_of(flavour.id)
    if not windows:
        return None
    found = []
    for window in windows:
        feast = forecast.seen.settings.feast(window.feast)
        for day in feast.days(start - timedelta(days=2000), start + timedelta(days=7 * settings.weeks + 400)):
            found.append(
                (day - timedelta(days=window.days_before), day + timedelta(days=window.days_after), window.feast)
            )
    return sorted(found)


__all__ = ["begins_after", "running_on", "season_of"]
