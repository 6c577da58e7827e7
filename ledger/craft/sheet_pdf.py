"""The batch sheet as one A4 or Letter page of PDF: big type, true-size rod, boxes to write in.

The page is set at full size first and, only if it runs over, in smaller steps down to a floor that can still be read at
the bench; what will not fit even then goes on a second page rather than into tiny type.
"""

from __future__ import annotations

import base64
import io
from typing import Any, Literal

import segno
from reportlab.lib.colors import black
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, Spacer, Table

from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_flowables import GREY, RED, Head, Ruler, Setter, sheet_fonts
from ledger.craft.sheet_text import SAFETY, SAFETY_NOTE, SheetText, Units, sheet_text

Paper = Literal["a4", "letter"]
MARGIN = 9 * mm
SCALES = (1.16, 1.08, 1.0, 0.94, 0.88, 0.82, 0.76)
TWO_PAGES = 0.94


def _picture(png: bytes, side: float) -> Image:
    return Image(io.BytesIO(png), width=side, height=side)


def _qr(address: str, side: float) -> Image:
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="png", scale=8, border=2)
    out.seek(0)
    return Image(out, width=side, height=side)


def _left(text: SheetText, setter: Setter, width: float) -> list[Flowable]:
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


def _right(sheet: BatchSheet, text: SheetText, setter: Setter, width: float, units: Units) -> list[Flowable]:
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


def _actual(text: SheetText, setter: Setter, width: float) -> list[Flowable]:
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


def _top(sheet: BatchSheet, text: SheetText, setter: Setter, width: float) -> list[Flowable]:
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
    """Draw downwards from ``y``; return what falls under ``floor``. Tables are split, heads go with their tables."""
    left = list(parts)
    while left:
        part = left[0]
        height = part.wrap(width, 10_000)[1]
        if isinstance(part, Head) and len(left) > 1 and not left[1].split(width, y - height - floor):
            return left
        if y - height < floor:
            pieces = part.split(width, y - floor)
            if len(pieces) < 2:
                return left
            left[:1] = pieces
            continue
        part.drawOn(canvas, x, y - height)
        y -= height
        left.pop(0)
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
    for scale in (*SCALES, TWO_PAGES):
        setter = Setter(scale)
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
        if left or right:
            canvas.setFont(sheet_fonts()[1], 11)
            canvas.drawString(MARGIN, size[1] - MARGIN - 9, f"{sheet.batch}  continued")
        ceiling, floor = size[1] - MARGIN - 16, MARGIN
    canvas.save()
    return out.getvalue()
