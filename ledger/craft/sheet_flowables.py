"""The pieces a printed sheet is set from: type at one scale, headings, tables with boxes, swatches, a ruler."""

from __future__ import annotations

import unicodedata
from functools import cache
from html import escape
from typing import Any

from reportlab.lib.colors import HexColor, black
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph, Table

from ledger.craft.sheet_text import Row, Units

BODY_PT = 10.0
GREY, RED = HexColor("#777777"), HexColor("#b00020")


@cache
def sheet_fonts() -> tuple[str, str]:
    """Register the typefaces that come with reportlab, so that accents print on any machine."""
    pdfmetrics.registerFont(TTFont("Sheet", "Vera.ttf"))
    pdfmetrics.registerFont(TTFont("Sheet-Bold", "VeraBd.ttf"))
    pdfmetrics.registerFontFamily("Sheet", normal="Sheet", bold="Sheet-Bold", italic="Sheet", boldItalic="Sheet-Bold")
    return "Sheet", "Sheet-Bold"


def _safe(text: str) -> str:
    """Text fit for the typeface: a letter it lacks loses its accent (or becomes ``?``) rather than print as a box."""
    sheet_fonts()
    known = pdfmetrics.getFont("Sheet").face.charToGlyph
    shown = []
    for letter in text.replace("\u202f", "\u00a0"):
        plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if ord(c) in known)
        shown.append(letter if ord(letter) in known else plain or "?")
    return escape("".join(shown), quote=False)


class Setter:
    """Makes the sheet's flowables at one scale."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.regular, self.bold = sheet_fonts()

    def say(self, text: str, size: float = BODY_PT, bold: bool = False, right: bool = False) -> Paragraph:
        points = size * self.scale
        style = ParagraphStyle(
            "sheet",
            fontName=self.bold if bold else self.regular,
            fontSize=points,
            leading=points * 1.17,
            alignment=2 if right else 0,
        )
        return Paragraph(_safe(text), style)

    def head(self, text: str, width: float) -> Table:
        table = Head([[self.say(text, 11, bold=True)]], colWidths=[width])
        table.setStyle([("LINEBELOW", (0, 0), (-1, -1), 0.8, GREY), *self.pad(0, 1.2)])
        return table

    def pad(self, side: float, above: float) -> list[tuple[Any, ...]]:
        s = self.scale
        return [
            ("LEFTPADDING", (0, 0), (-1, -1), side * s),
            ("RIGHTPADDING", (0, 0), (-1, -1), side * s),
            ("TOPPADDING", (0, 0), (-1, -1), above * s),
            ("BOTTOMPADDING", (0, 0), (-1, -1), above * s),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ]

    def grid(self, rows: list[list[Any]], widths: list[float], boxes: bool) -> Table:
        table = Table(rows, colWidths=widths)
        style = self.pad(1.5, 2.0)
        style += [("LINEABOVE", (0, i), (-1 - int(boxes), i), 0.3, GREY) for i in range(1, len(rows))]
        if boxes:
            style.append(("BOX", (-1, 0), (-1, -1), 0.9, black))
            style.append(("INNERGRID", (-1, 0), (-1, -1), 0.9, black))
        table.setStyle(style)
        return table

    def weigh(self, rows: tuple[Row, ...], width: float) -> Table:
        body = []
        for row in rows:
            title: Any = self.say(row.title)
            if row.colour:
                title = Table([[Swatch(row.colour, 9 * self.scale), title]], colWidths=[12 * self.scale, None])
                title.setStyle(self.pad(0, 0))
            body.append([title, self.say(row.mass, 11.5, bold=True, right=True), self.say(row.note, 8.6), ""])
        box, mass = 20 * mm, 24 * mm * max(self.scale, 1)
        rest = width - box - mass
        return self.grid(body, [rest * 0.52, mass, rest * 0.48, box], boxes=True)

    def pairs(self, rows: tuple[tuple[str, str], ...], width: float, first: float) -> Table:
        body = [[self.say(a, 9.2, bold=first < 0.5), self.say(b, 9.2)] for a, b in rows]
        return self.grid(body, [width * first, width * (1 - first)], boxes=False)


class Head(Table):  # type: ignore[misc]
    """The heading of a part, which must not stand alone at the foot of a page."""


class Swatch(Flowable):  # type: ignore[misc]
    """A small square of a portion's colour."""

    def __init__(self, colour: str, side: float) -> None:
        super().__init__()
        self.colour, self.width, self.height = colour, side, side

    def draw(self) -> None:
        self.canv.setFillColor(HexColor(self.colour))
        self.canv.setStrokeColor(GREY)
        self.canv.rect(0, 0, self.width, self.height, fill=1)
        self.canv.setFillColor(black)


class Ruler(Flowable):  # type: ignore[misc]
    """A ruler of 20 mm, or of one inch, to see that the page was printed at its true size."""

    def __init__(self, units: Units, points: float) -> None:
        super().__init__()
        self.steps, self.step, self.unit = (8, 25.4 * mm / 8, "1 in") if units == "us" else (4, 5 * mm, "20 mm")
        self.points, self.width, self.height = points, self.steps * self.step, points + 5

    def draw(self) -> None:
        self.canv.setLineWidth(0.8)
        self.canv.line(0, 1, self.width, 1)
        for i in range(self.steps + 1):
            self.canv.line(i * self.step, 1, i * self.step, 5)
        self.canv.setFont(sheet_fonts()[0], self.points)
        self.canv.drawString(self.width + 4, 1, self.unit)
