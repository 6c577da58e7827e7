"""What a form starts from: the shop, the batch, its lots, and the entry being amended."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import pandas as pd

from dashboard.forms.markup import Html, choice, field, hidden, join, more, tag
from ledger.analytics.records import records
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.errors import SlabbookError
from ledger.quantities import mass, mass_text

CAUTION = (
    "Molten sugar burns deep and sticks: about 150 °C. Long sleeves, heat gloves, closed shoes, nobody under the slab's edge, cold water at hand. "
    "Cool a burn under running water at once and get medical help. Follow your local rules for hot work."
)
STICKS = (
    "Hot sugar sticks and burns, and its middle stays hotter than its skin feels. Heat gloves, long sleeves, water at hand; "
    "if in doubt, let it cool longer. Your local rules come first."
)


SMALL_MG = 100_000
"""Below this a mass is read off the small scale, in grams (common practice, no source)."""


@dataclass(slots=True)
class Context:
    """One form's surroundings. `old` is the entry as it is believed now, when it is being amended."""

    ledger: Ledger
    book: Book
    site: e.Site
    today: str
    batch: dict[str, Any] | None = None
    lots: pd.DataFrame | None = None
    old: Any = None
    origin: int = 0
    lot: str = ""
    asked: dict[str, str] | None = None

    @property
    def unit(self) -> str:
        """The unit of mass the shop speaks."""
        return "lb" if self.site.units == "us" else "kg"

    @property
    def degrees(self) -> str:
        """The unit of temperature the shop speaks."""
        return "F" if self.site.units == "us" else "C"

    @property
    def size(self) -> str:
        """The unit of length the shop speaks."""
        return "in" if self.site.units == "us" else "mm"

    def mass(self, mg: int) -> str:
        """A mass for a field of this shop, exact in kg; pounds are rounded to a tenth of a gram and then said in lb."""
        if self.site.units == "us":
            return f"{Decimal(mg) / Decimal('453592.37'):.3f}".rstrip("0").rstrip(".")
        return format((Decimal(mg).scaleb(-6)).normalize(), "f") if mg else ""

    def scale(self, mg: int) -> tuple[str, str]:
        """(figure, unit) as the scale for such a mass says it: colours and flavours below 100 g in grams, all else in the shop's unit."""
        if 0 < mg < SMALL_MG:
            return format(Decimal(mg).scaleb(-3).normalize(), "f"), "g"
        return self.mass(mg), self.unit

    def exact(self, mg: int) -> str:
        """A recorded mass with its unit, to the milligram, so that a form sent back untouched says the same."""
        return f"{format(Decimal(mg).scaleb(-6).normalize(), 'f')} kg" if mg else ""

    def said(self, part: Any) -> str:
        """What was typed for a take, give or loss of the old entry; nothing where it was worked out."""
        if part is None or part.basis in ("derived", "all", "share", "nominal"):
            return ""
        try:
            return part.entered if mass(part.entered) == part.mass_mg else self.exact(part.mass_mg)
        except SlabbookError:  # said in words that cannot be read again, such as `10 x 25 kg`
            return self.exact(part.mass_mg)

    def held(self, item: str, *also: str) -> list[dict[str, Any]]:
        """Lots of a material that may be used, first expired first (then oldest); `also` are lots to list though empty."""
        found = self.ledger.queries.lots(item=item)
        rows = [r for r in records(found) if not r["held"] or r["lot"] in also]
        known = {r["lot"] for r in rows}
        missing = [x for x in also if x not in known]
        if missing:
            rows += [r for r in records(self.ledger.queries.lots(holding=False, names=missing)) if r["item"] == item]
        return sorted(rows, key=lambda r: (r["best_before"] or "9999", r["day"], r["lot"]))

    def lot_words(self, row: dict[str, Any]) -> str:
        """A lot as it stands in a list."""
        date = f", best before {row['best_before']}" if row["best_before"] else ""
        return f"{row['lot']}: {mass_text(int(row['mass_mg']), self.site.units)}{date}"


def crew(ctx: Context, step: str) -> Html:
    """Who worked, by tapping initials, and for how long; the clock of the step fills in the minutes."""
    old = {w.worker: w.seconds for w in ctx.old.work} if ctx.old is not None else {}
    workers = ctx.book.all(e.Worker)
    if not workers:
        return tag(
            "p", "No workers are in the book yet, so no time can be kept. Enter them on the Book page.", class_="quiet"
        )
    same = len(set(old.values())) == 1
    minutes = f"{next(iter(old.values())) / 60:.6g}" if same else ""
    chips = [
        tag("label", tag("input", type="checkbox", name="crew", value=w.id, checked=w.id in old), tag("span", w.id), class_="tap")
        for w in workers
    ]  # fmt: skip
    own = [
        field(f"own.{w.id}", f"{w.id} alone", "" if same or w.id not in old else f"{old[w.id] / 60:.6g}", "min")
        for w in workers
    ]
    return tag(
        "fieldset", tag("legend", "Hands"), tag("div", chips, class_="taps"),
        tag("div", field("minutes", "Minutes each", minutes, "min"),
            tag("button", "Start the clock", type="button", class_="plain clock", data_clock=f"{ctx.batch['batch'] if ctx.batch else ''}:{step}"),
            class_="with-clock"),
        more("Different times", *own), tag("p", class_="said", data_for="work"), class_="crew",
    )  # fmt: skip


def who(ctx: Context, words: str) -> Html:
    """Who enters it, by tapping initials; the tablet offers whoever entered something last."""
    workers = ctx.book.all(e.Worker)
    chips = [
        tag("label", tag("input", type="radio", name="who", value=w.id), tag("span", w.id), class_="tap") for w in workers
    ]  # fmt: skip
    return (
        tag("fieldset", tag("legend", words), tag("div", chips, class_="taps"), class_="field") if workers else Html("")
    )


def foot(ctx: Context, *kinds: str) -> Html:
    """Day, station and note: filled already, seldom touched."""
    old = ctx.old
    stations = [(s.id, s.name or s.id) for s in ctx.book.all(e.Station) if not kinds or s.kind in kinds]
    fields = [field("day", "Day", old.day if old is not None else ctx.today, kind="date")]
    if stations and kinds:
        fields.append(choice("station", "Station", stations, getattr(old, "station", ""), none="not said"))
    elif getattr(old, "station", ""):
        fields.append(hidden("station", old.station))
    fields.append(field("note", "Note", getattr(old, "note", ""), mode="text"))
    times = [hidden(x, getattr(old, x), with_day=True) for x in ("started", "ended") if getattr(old, x, "")]
    return join([more("Day, station, note", *fields), *times])


def caution(text: str = CAUTION) -> Html:
    """The usual caution, with a sign and words, never colour alone."""
    return tag("p", tag("strong", "Caution. "), text, class_="caution", role="note")
