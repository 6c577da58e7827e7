"""The picture at build size, one to one, to lay under glass beside the table; over several pages if the log is wide."""

from __future__ import annotations

import base64
import io
import math

from reportlab.lib.colors import black
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from ledger.craft.sheet import BatchSheet
from ledger.craft.sheet_flowables import Ruler, sheet_fonts
from ledger.craft.sheet_pdf import Paper
from ledger.craft.sheet_text import Units, size_text

MARGIN = 9 * mm
FOOT = 16 * mm


def render_build_pdf(sheet: BatchSheet, units: Units, paper: Paper | None = None) -> bytes:
    """The log's section at its true diameter as PDF; print at 100 % and join the pages at their frames.

    Arguments:
        paper: ``a4`` or ``letter``; by default A4 for metric and Letter for US.
    """
    size = {"a4": A4, "letter": LETTER}[paper or ("letter" if units == "us" else "a4")]
    across = sheet.sizes.log_um / 1000 * mm
    room = (size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT)
    columns, rows = math.ceil(across / room[0]), math.ceil(across / room[1])
    shown = (across / columns, across / rows)
    picture = ImageReader(io.BytesIO(base64.b64decode(sheet.picture_png_base64)))
    regular, bold = sheet_fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size, invariant=1)
    canvas.setTitle(f"{sheet.batch} {sheet.design}, log section")
    for row in range(rows):
        for column in range(columns):
            left = (size[0] - shown[0]) / 2
            bottom = MARGIN + FOOT + (room[1] - shown[1]) / 2
            canvas.saveState()
            frame = canvas.beginPath()
            frame.rect(left, bottom, *shown)
            canvas.clipPath(frame, stroke=1)
            below = rows - 1 - row
            canvas.drawImage(picture, left - column * shown[0], bottom - below * shown[1], across, across, mask="auto")
            canvas.restoreState()
            canvas.setFillColor(black)
            canvas.setFont(bold, 11)
            part = f", part {row * columns + column + 1} of {rows * columns}" if rows * columns > 1 else ""
            canvas.drawString(MARGIN, MARGIN + 20, f"{sheet.batch}  {sheet.design}, log section{part}")
            canvas.setFont(regular, 9)
            where = f"row {row + 1}, column {column + 1}. " if part else ""
            across_text = size_text(sheet.sizes.log_um, units)
            canvas.drawString(MARGIN, MARGIN + 7, f"{where}{across_text} across, one to one when printed at 100 %.")
            ruler = Ruler(units, 9)
            ruler.drawOn(canvas, size[0] - MARGIN - ruler.width - 40, MARGIN + 6)
            canvas.showPage()
    canvas.save()
    return out.getvalue()
