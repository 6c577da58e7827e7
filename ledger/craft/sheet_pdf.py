"""The batch sheet as one A4 or Letter page of PDF: big type, true-size rod, boxes to write in.

The page is set at full size first and, only if it runs over, in smaller steps down to a floor that can still be read at
the bench; what will not fit even then goes on a second page rather than into tiny type.
"""

from __future__ import annotations

import base64
import io
from functools import cache
from typing import Any, Literal

import segno
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, Paragraph, Spacer, Table

from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_text import SAFETY, SAFETY_NOTE, Row, SheetText, Units, sheet_text

Paper = Literal["a4", "letter"]
MARGIN = 9 * mm
SCALES = (1.16, 1.08, 1.0, 0.94, 0.88, 0.82, 0.76)
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
    plain = text.replace("\u202f", "\u00a0")
    return plain.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


class _Setter:
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
        table = Table([[self.say(text, 11, bold=True)]], colWidths=[width])
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
                title = Table([[_Swatch(row.colour, 9 * self.scale), title]], colWidths=[12 * self.scale, None])
                title.setStyle(self.pad(0, 0))
            body.append([title, self.say(row.mass, 11.5, bold=True, right=True), self.say(row.note, 8.6), ""])
        box, mass = 20 * mm, 24 * mm * max(self.scale, 1)
        rest = width - box - mass
        return self.grid(body, [rest * 0.52, mass, rest * 0.48, box], boxes=True)

    def pairs(self, rows: tuple[tuple[str, str], ...], width: float, first: float) -> Table:
        body = [[self.say(a, 9.2, bold=first < 0.5), self.say(b, 9.2)] for a, b in rows]
        return self.grid(body, [width * first, width * (1 - first)], boxes=False)


class _Swatch(Flowable):  # type: ignore[misc]
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


def _picture(png: bytes, side: float) -> Image:
    return Image(io.BytesIO(png), width=side, height=side)


def _qr(address: str, side: float) -> Image:
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="png", scale=8, border=2)
    out.seek(0)
    return Image(out, width=side, height=side)


def _left(text: SheetText, setter: _Setter, width: float) -> list[Flowable]:
    gap = Spacer(1, 5 * setter.scale)
    parts: list[Flowable] = [setter.head("In the kettle", width), setter.weigh(text.kettle, width)]
    for head, rows in (("After the cook", text.after), ("Pour", text.pours), ("Blend", text.blends)):
        if rows:
            parts += [gap, setter.head(head, width), setter.weigh(rows, width)]
    steps: list[list[Any]] = [
        [setter.say(f"{i}. {title}"), setter.say(time, 10.5, bold=True, right=True), setter.say(heat, 9), ""]
        for i, (title, time, heat) in enumerate(text.steps, 1)
    ]
    if steps:
        grid = setter.grid(steps, [width - 80 * mm, 24 * mm, 36 * mm, 20 * mm], boxes=True)
        parts += [gap, setter.head("Steps: time, temperature, done at", width), grid]
    return parts


def _right(sheet: BatchSheet, text: SheetText, setter: _Setter, width: float, units: Units) -> list[Flowable]:
    png = base64.b64decode(sheet.picture_png_base64)
    gap = Spacer(1, 5 * setter.scale)
    rod, log = sheet.sizes.rod_um / 1000 * mm, sheet.sizes.log_um / 1000 * mm
    shown = min(log, 42 * mm * setter.scale)
    pictures = Table([[_picture(png, shown), _picture(png, rod)]], colWidths=[width * 0.66, width * 0.34])
    pictures.setStyle([("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("ALIGN", (0, 0), (-1, -1), "CENTER")])
    captions = Table(
        [[setter.say(f"log, drawn 1 : {log / shown:.1f}", 8.6), setter.say("rod, true size", 8.6)]],
        colWidths=[width * 0.66, width * 0.34],
    )
    flags = [setter.say(f"• {flag}", 9) for flag in text.flags] or [setter.say("nothing flagged", 9)]
    return [
        setter.head("Picture", width),
        pictures,
        captions,
        Ruler(units, 8.4 * setter.scale),
        setter.say(text.thin, 8.8),
        gap,
        setter.head("Log to packs", width),
        setter.pairs(text.sizes, width, 0.24),
        gap,
        setter.head("Build", width),
        setter.pairs(tuple((f"{i}. {a}", b) for i, (a, b) in enumerate(text.build, 1)), width, 0.58),
        gap,
        setter.head("Look at first", width),
        *flags,
    ]


def _actual(text: SheetText, setter: _Setter, width: float) -> list[Flowable]:
    half = -(-len(text.actual) // 2)
    names = [*text.actual, *[""] * (2 * half - len(text.actual))]
    actual = Table(
        [[setter.say(names[i], 8.8), "", setter.say(names[i + half], 8.8), ""] for i in range(half)],
        colWidths=[width * 0.28, width * 0.22, width * 0.28, width * 0.22],
        rowHeights=[20 * setter.scale] * half,
    )
    boxes = [("GRID", (c, 0), (c, half - 1 - (c == 3 and not names[-1])), 0.9, black) for c in (1, 3)]
    actual.setStyle([*setter.pad(1.5, 1), *boxes])
    return [Spacer(1, 5 * setter.scale), setter.head("What came of it", width), actual]


def _top(sheet: BatchSheet, text: SheetText, setter: _Setter, width: float) -> list[Flowable]:
    side = 25 * mm
    left = [
        setter.say(text.title, 19, bold=True),
        setter.say(text.subtitle, 9.2),
        setter.say(f"Allergens: {text.allergens}", 10.5, bold=True),
        setter.say(text.changeover, 9),
    ]
    code = [
        setter.say(sheet.batch, 21, bold=True, right=True),
        setter.say("scan to record this batch", 8.4, right=True),
    ]
    table = Table([[left, code, _qr(sheet.address, side)]], colWidths=[width - 52 * mm - side, 52 * mm, side])
    table.setStyle([*setter.pad(0, 0), ("VALIGN", (0, 0), (-1, -1), "TOP")])
    caution = Table(
        [[[setter.say(f"CAUTION: {SAFETY}", 9.4, bold=True), setter.say(SAFETY_NOTE, 8.4)]]], colWidths=[width]
    )
    caution.setStyle([("BOX", (0, 0), (-1, -1), 1.8, RED), *setter.pad(4, 3)])
    cells = [
        [setter.say(label, 9), setter.say(value, 14, bold=True), setter.say(remark, 8.2)]
        for label, value, remark in text.facts
    ]
    facts = Table([cells], colWidths=[width / len(cells)] * len(cells))
    facts.setStyle([("GRID", (0, 0), (-1, -1), 0.6, GREY), *setter.pad(3, 2.5), ("VALIGN", (0, 0), (-1, -1), "TOP")])
    gap = Spacer(1, 4 * setter.scale)
    return [table, gap, caution, gap, facts, gap]


def _height(parts: list[Flowable], width: float) -> float:
    return float(sum(part.wrap(width, 10_000)[1] for part in parts))


def _draw(canvas: Canvas, parts: list[Flowable], x: float, y: float, width: float, floor: float) -> list[Flowable]:
    """Draw downwards from ``y``; return what would fall under ``floor``."""
    for i, part in enumerate(parts):
        height = part.wrap(width, 10_000)[1]
        if y - height < floor:
            return parts[i:]
        part.drawOn(canvas, x, y - height)
        y -= height
    return []


def render_pdf(sheet: BatchSheet, units: Units, paper: Paper | None = None) -> bytes:
    """The sheet as PDF in metric or US units; print at 100 %, or the rod is not true.

    Arguments:
        paper: ``a4`` or ``letter``; by default A4 for metric and Letter for US.
    """
    text = sheet_text(sheet, units)
    size = {"a4": A4, "letter": LETTER}[paper or ("letter" if units == "us" else "a4")]
    width, room = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN
    gutter = 5 * mm
    left_width = (width - gutter) * 0.59
    right_width = width - gutter - left_width
    for scale in SCALES:
        setter = _Setter(scale)
        top = _top(sheet, text, setter, width)
        left, right = _left(text, setter, left_width), _right(sheet, text, setter, right_width, units)
        if _height(left, left_width) < _height(right, right_width):
            left += _actual(text, setter, left_width)
        else:
            right += _actual(text, setter, right_width)
        foot = setter.say(text.footer, 7.6)
        foot_height = foot.wrap(width, 10_000)[1]
        used = _height(top, width)
        if used + foot_height + 4 + max(_height(left, left_width), _height(right, right_width)) <= room:
            break
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size, invariant=1)
    canvas.setTitle(f"{sheet.batch} {text.title}")
    ceiling = size[1] - MARGIN
    _draw(canvas, top, MARGIN, ceiling, width, 0)
    foot.drawOn(canvas, MARGIN, MARGIN)
    floor = MARGIN + foot_height + 4
    ceiling -= used
    while left or right:
        left = _draw(canvas, left, MARGIN, ceiling, left_width, floor)
        right = _draw(canvas, right, MARGIN + left_width + gutter, ceiling, right_width, floor)
        canvas.showPage()
        ceiling, floor = size[1] - MARGIN, MARGIN
    canvas.save()
    return out.getvalue()
