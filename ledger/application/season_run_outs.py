"""Run-outs that the ledger's own stock knows of and nobody has told, as sentences with the way to tell them."""

from __future__ import annotations

from datetime import date, timedelta

from ledger.analytics.forecast_input import days
from ledger.analytics.run_outs import untold_run_outs
from ledger.application.season_history import SeasonHistory, announced

SINCE = timedelta(weeks=26)
MOST_TOLD = 4


def run_out_notes(seen: SeasonHistory) -> list[str]:
    """One sentence a spell of the last half year in which a flavour on sale was nowhere in the house and no run-out is told, the latest first."""
    on, today = seen.on, date.fromisoformat(seen.day)
    moves = on.queries.balances(["day", "flavour", "kind"], known=on.known, kinds=["lot.packs"])
    moves = moves[moves["flavour"] != ""]
    if moves.empty:
        return []
    shut = {
        d.isoformat()
        for p in announced(on, "closure")
        if not p.channel and not p.flavour
        for d in days(p.from_day, p.to_day)
    }
    told: dict[str, set[str]] = {}
    for _, paper in on.queries.papers("ran-out", known=on.known):
        told.setdefault(paper.flavour, set()).update(
            d.isoformat() for d in days(paper.day, paper.until_day or paper.day)
        )
    season = {flavour: _season(seen, flavour, today) for flavour in {w.flavour for w in seen.settings.windows}}

    def on_sale(flavour: str, day: date) -> bool:
        if day.isoweekday() not in on.site.open_days or day.isoformat() in shut:
            return False
        return flavour not in season or day in season[flavour]

    yesterday = (today - timedelta(days=1)).isoformat()
    found = untold_run_outs(moves, yesterday, told, on_sale, (today - SINCE).isoformat())
    return [_said(seen, *spell) for spell in found[:MOST_TOLD]]


def _season(seen: SeasonHistory, flavour: str, today: date) -> set[date]:
    """The days of the last year and a half on which a flavour of one season was on sale."""
    first = today - timedelta(days=550)
    found: set[date] = set()
    for window in seen.settings.windows_of(flavour):
        before, after = timedelta(days=window.days_before), timedelta(days=window.days_after)
        for feast in seen.settings.feast(window.feast).days(first - after, today + before):
            found.update(
                date.fromordinal(n) for n in range((feast - before).toordinal(), (feast + after).toordinal() + 1)
            )
    return found


def _said(seen: SeasonHistory, flavour: str, first: str, last: str) -> str:
    name, when = seen.on.shop.name("flavour", flavour), first if first == last else f"{first} to {last}"
    return (
        f"{name} was nowhere in the house on {when} by the ledger's own stock, and no run-out is told: if customers asked for it in vain, tell it "
        f"(`slabbook season note run-out {first} {last} --flavour {flavour} --channel ...`); until then those weeks read as low demand."
    )


__all__ = ["run_out_notes"]
