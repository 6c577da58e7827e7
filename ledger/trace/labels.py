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
POINT_MM = 25.4 / 72
SMALL_OF_SIZE, FIGURE_OF_SIZE = 0.523, 0.703
"""Height of an x and of a 1 in Helvetica, as a share of the type size (Adobe's font metrics for Helvetica)."""
LEADING = 1.24
EDGE_MM = 2.0
GAP_MM = 1.0


@dataclass(frozen=True, slots=True)
class LabelText:
    """What one label says. ``base`` is the address the QR code leads to; ``gtin`` adds a GS1 DataMatrix.

    ``lines`` are printed small under the dates: ingredients, allergens, warnings, a note. ``net`` is the net weight as declared (see
    ``ledger.trace.label_text``), its figures at least ``net_mm`` high. The small letters (x-height) of the lines are ``small_mm`` high where that
    fits, and never below ``least_mm``, all in millimetres.
    """

    title: str
    lot: str
    base: str
    net: str = ""
    best_before: date | None = None
    made: date | None = None
    gtin: str = ""
    lines: tuple[str, ...] = ()
    net_mm: float = 0.0
    small_mm: float = 1.107
    least_mm: float = 1.107
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


@dataclass(frozen=True, slots=True)
class _Plan:
    """Where the parts of one label go: codes with their module, the room for words, and the size of the small lines."""

    codes: tuple[Grid, ...]
    module: float
    room: float
    height: float
    foot: float
    pairs: str
    points: float


def _planned(page: Sheet, label: LabelText) -> _Plan:
    codes = [qr_grid(lot_address(label.base, label.lot))]
    pairs = None
    if label.gtin:
        pairs = element_pairs(label.gtin, checked_lot(label.lot), best_before=label.best_before)
        codes.append(datamatrix_grid(pairs))
    module = _module(codes, page, label, tall=page.label_h - EDGE_MM - (EDGE_MM + 2.6 if pairs else EDGE_MM / 2))
    room = page.label_w - 2 * EDGE_MM - GAP_MM - sum(code.size for code in codes) * module
    foot = EDGE_MM + (2.6 if pairs is not None else 0.0)
    height = page.label_h - EDGE_MM - foot
    said = "" if pairs is None else bracketed(pairs)
    return _Plan(tuple(codes), module, room, height, foot, said, _points(page, label, room, height))


def small_letters_mm(label: LabelText, sheet: str | Sheet) -> float:
    """How high the small letters of the label's lines are on a sheet, in millimetres.

    Raises BadInput when its words or codes do not fit this size of label.
    """
    return _planned(sheet_called(sheet) if isinstance(sheet, str) else sheet, label).points * POINT_MM * SMALL_OF_SIZE


def _points(page: Sheet, label: LabelText, room: float, height: float) -> float:
    """The largest size, in steps of a quarter point, at which the small lines fit between what is wished and what is the least."""
    wished, least = (mm_high / POINT_MM / SMALL_OF_SIZE for mm_high in (label.small_mm, label.least_mm))
    size = wished
    while True:
        if (
            sum(
                _fitted(text, font, wanted, room) * POINT_MM * LEADING
                for text, font, wanted in _rows(label, room, size)
            )
            <= height + 0.01
        ):
            return size
        if size <= least:
            raise BadInput(
                f"The words of lot {label.lot} do not fit the labels of {page.name} ({page.label_w:g} x {page.label_h:g} mm) with letters {label.least_mm:.1f} mm high. "
                "Take a larger label, or the short one beside a printed ingredient list. Allergens and warnings may not be left out.",
                lot=label.lot, sheet=page.name,
            )  # fmt: skip
        size = max(size - 0.25, least)


def _draw(canvas: Canvas, page: Sheet, label: LabelText, x: float, y: float, outline: bool) -> None:
    """One label with its upper left corner at (x, y) millimetres from the page's upper left."""
    top = page.page_h - y
    if outline:
        canvas.setLineWidth(0.2)
        canvas.rect(x * mm, (top - page.label_h) * mm, page.label_w * mm, page.label_h * mm)
    plan = _planned(page, label)
    right = x + page.label_w - EDGE_MM
    for code in plan.codes:
        right -= code.size * plan.module
        _modules(canvas, code, right, top - EDGE_MM / 2 - (QR_QUIET - code.quiet) * plan.module, plan.module)
    if plan.pairs:
        canvas.setFont("Helvetica", _fitted(plan.pairs, "Helvetica", 6.0, page.label_w - 2 * EDGE_MM))
        canvas.drawString((x + EDGE_MM) * mm, (top - page.label_h + EDGE_MM) * mm, plan.pairs)
    at = top - EDGE_MM
    for text, font, wanted in _rows(label, plan.room, plan.points):
        size = _fitted(text, font, wanted, plan.room)
        at -= size * POINT_MM * LEADING
        canvas.setFont(font, size)
        canvas.drawString((x + EDGE_MM) * mm, at * mm, text)


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


def _rows(label: LabelText, room: float, points: float) -> list[tuple[str, str, float]]:
    """The words of a label from the top down: (text, font, size in points)."""
    rows: list[tuple[str, str, float]] = []
    if label.mark:
        rows.append((label.mark.upper(), "Helvetica-Bold", 11.0))
    rows.append((label.title, "Helvetica-Bold", 9.0))
    net = max(8.0, label.net_mm / POINT_MM / FIGURE_OF_SIZE)
    rows.append((f"L {label.lot}", "Helvetica-Bold", max(13.0, net)))
    if label.best_before is not None:
        rows.append((f"Best before {label.best_before.isoformat()}", "Helvetica", 7.0))
    if label.made is not None:
        rows.append((f"Made {label.made.isoformat()}", "Helvetica", 7.0))
    if label.net:
        if label.net_mm and _fitted(label.net, "Helvetica", net, room) < net:
            raise BadInput(
                f"{label.net!r} in figures {label.net_mm:.1f} mm high is wider than the {room:.0f} mm this label has for words; take a larger label.",
                text=label.net, limit=label.net_mm,
            )  # fmt: skip
        rows.append((label.net, "Helvetica", net))
    rows += [(part, "Helvetica", points) for line in label.lines for part in _wrapped(line, "Helvetica", points, room)]
    return rows


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
