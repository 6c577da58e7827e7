"""Print labels: what it is, the lot in letters big enough to read and type, dates, weight, codes. PDF, drawn as
vectors.

Modules are 0.375 mm or larger where there is room: three, four or five dots of a 203 dpi thermal printer (8 dots to
the mm). Smaller ones were not read back reliably.
Scanning fails in a sugar kitchen, so the lot mark is always the largest text on the label.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from ledger.errors import BadInput
from ledger.trace.codes import QR_QUIET, Grid, datamatrix_grid, lot_address, qr_grid
from ledger.trace.gs1 import bracketed, checked_lot, element_pairs
from ledger.trace.label_sheets import Sheet, sheet_called

MODULES_MM = (0.625, 0.5, 0.375)
EDGE_MM = 2.0
GAP_MM = 1.0


@dataclass(frozen=True, slots=True)
class LabelText:
    """What one label says. ``base`` is the address the QR code leads to; ``gtin`` adds a GS1 DataMatrix.

    ``lines`` are printed small under the dates: allergens, storage, a note. ``net`` is the net weight as declared
    (see ``ledger.trace.label_text``).
    """

    title: str
    lot: str
    base: str
    net: str = ""
    best_before: date | None = None
    made: date | None = None
    gtin: str = ""
    lines: tuple[str, ...] = ()
    mark: str = ""
    """A word across the top that stops a hand: HOLD, RECALLED, CONTAINS MILK."""


def print_labels(
    labels: Sequence[LabelText], sheet: str | Sheet, *, skip: int = 0, outline: bool = False, title: str = "Labels"
) -> bytes:
    """A PDF of the labels, one after another; ``skip`` leaves the first places of a part-used sheet empty.

    The same labels give the same bytes, so a reprint can be compared.

    Raises:
        BadInput: a lot that does not fit a label, a wrong GTIN, or codes too big for this size of label.
    """
    page = sheet_called(sheet) if isinstance(sheet, str) else sheet
    if not labels:
        raise BadInput("There are no labels to print; name at least one lot.")
    if not 0 <= skip < page.count:
        raise BadInput(f"A {page.name} sheet has {page.count} places; {skip} cannot be skipped.", skip=skip)
    out = BytesIO()
    canvas = Canvas(out, pagesize=(page.page_w * mm, page.page_h * mm), invariant=1)
    canvas.setTitle(title)
    canvas.setAuthor("Slabbook")
    places = list(page.corners())
    at = skip
    for label in labels:
        if at == page.count:
            canvas.showPage()
            at = 0
        x, y = places[at]
        _draw(canvas, page, label, x, y, outline)
        at += 1
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, page: Sheet, label: LabelText, x: float, y: float, outline: bool) -> None:
    """One label with its upper left corner at (x, y) millimetres from the page's upper left."""
    top = page.page_h - y
    if outline:
        canvas.setLineWidth(0.2)
        canvas.rect(x * mm, (top - page.label_h) * mm, page.label_w * mm, page.label_h * mm)
    codes = [qr_grid(lot_address(label.base, label.lot))]
    pairs = None
    if label.gtin:
        pairs = element_pairs(label.gtin, checked_lot(label.lot), best_before=label.best_before)
        codes.append(datamatrix_grid(pairs))
    module = _module(codes, page, label, tall=page.label_h - EDGE_MM - (EDGE_MM + 2.6 if pairs else EDGE_MM / 2))
    right = x + page.label_w - EDGE_MM
    for code in codes:
        right -= code.size * module
        _modules(canvas, code, right, top - EDGE_MM / 2 - (QR_QUIET - code.quiet) * module, module)
    room = right - x - EDGE_MM - GAP_MM
    foot = EDGE_MM
    if pairs is not None:
        size = _fitted(bracketed(pairs), "Helvetica", 6.0, page.label_w - 2 * EDGE_MM)
        canvas.setFont("Helvetica", size)
        canvas.drawString((x + EDGE_MM) * mm, (top - page.label_h + foot) * mm, bracketed(pairs))
        foot += 2.6
    _text(canvas, label, x + EDGE_MM, top - EDGE_MM, room, page.label_h - EDGE_MM - foot)


def _module(codes: Sequence[Grid], page: Sheet, label: LabelText, tall: float) -> float:
    """The largest module at which the codes fit the height and leave at least half the width for words."""
    side = max(code.size for code in codes)
    wide = sum(code.size for code in codes)
    inner = page.label_w - 2 * EDGE_MM
    for module in MODULES_MM:
        smallest = module == MODULES_MM[-1]
        words = inner - wide * module - GAP_MM
        if side * module <= tall and words >= (16 if smallest else inner / 2):
            return module
    raise BadInput(
        f"The codes of lot {label.lot} need {side * MODULES_MM[-1]:.1f} mm of height and "
        f"{wide * MODULES_MM[-1] + 16:.1f} mm "
        f"of width with its words; a {page.name} label is {page.label_w:g} x {page.label_h:g} mm. Take a larger "
        f"label or a "
        "shorter address.",
        side_mm=side * MODULES_MM[-1],
    )


def _modules(canvas: Canvas, grid: Grid, x: float, top: float, module: float) -> None:
    """Draw the dark modules as rectangles, each run of a row in one; the quiet zone stays bare."""
    canvas.setFillGray(0)
    for r, row in enumerate(grid.rows):
        column = 0
        while column < len(row):
            if not row[column]:
                column += 1
                continue
            start = column
            while column < len(row) and row[column]:
                column += 1
            canvas.rect(
                (x + (grid.quiet + start) * module) * mm,
                (top - (grid.quiet + r + 1) * module) * mm,
                (column - start) * module * mm,
                module * mm,
                stroke=0,
                fill=1,
            )


def _text(canvas: Canvas, label: LabelText, x: float, top: float, room: float, height: float) -> None:
    """The words of a label from the top down; lines that no longer fit the height are an error, never cut off
    silently."""
    rows: list[tuple[str, str, float]] = []
    if label.mark:
        rows.append((label.mark.upper(), "Helvetica-Bold", 11.0))
    rows.append((label.title, "Helvetica-Bold", 9.0))
    rows.append((f"L {label.lot}", "Helvetica-Bold", 13.0))
    if label.best_before is not None:
        rows.append((f"Best before {label.best_before.isoformat()}", "Helvetica", 7.0))
    if label.made is not None:
        rows.append((f"Made {label.made.isoformat()}", "Helvetica", 7.0))
    if label.net:
        rows.append((label.net, "Helvetica", 8.0))
    rows += [(part, "Helvetica", 6.0) for line in label.lines for part in _wrapped(line, "Helvetica", 6.0, room)]
    y = top
    for text, font, wanted in rows:
        size = _fitted(text, font, wanted, room)
        y -= size * 0.3528 * 1.24
        if top - y > height + 0.01:
            raise BadInput(
                f"The label of lot {label.lot} has more text than its {height:.0f} mm hold; drop {text!r} or take a "
                f"larger "
                "label.",
                text=text,
            )
        canvas.setFont(font, size)
        canvas.drawString(x * mm, y * mm, text)


def _fitted(text: str, font: str, wanted: float, room: float) -> float:
    """Font size at which ``text`` fits ``room`` millimetres, ``wanted`` at most, 4.5 point at least."""
    wide = stringWidth(text, font, wanted) / mm
    size = wanted if wide <= room else wanted * room / wide
    if size < 4.5:
        raise BadInput(f"{text!r} would have to be printed at {size:.1f} point to fit; shorten it.", text=text)
    return float(size)


def _wrapped(text: str, font: str, size: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and stringWidth(f"{lines[-1]} {word}", font, size) / mm <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
