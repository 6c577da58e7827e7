"""The audit report as a page (HTML), a document (PDF) and tables for a spreadsheet (CSV), all from one structure."""

from __future__ import annotations

import csv
from html import escape
from io import BytesIO, StringIO
from typing import Any

import pandas as pd
from reportlab.graphics.shapes import Drawing, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle, getSampleStyleSheet
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from ledger.errors import BadInput
from ledger.trace.audit_report import AuditReport
from ledger.trace.layout import KIND_COLOURS, layout, lines, svg
from ledger.trace.path import Path

CHUNK = 40
"""Rows of one table block in the PDF: long tables are set in blocks, because laying one out costs the square of its
rows."""
STEPS_IN_PDF = 200
KEPT_TOGETHER = 8
"""Rows of a table that is not parted from its question by a page break."""

_CSS = """
body{font:15px/1.45 system-ui,-apple-system,"Segoe UI",Helvetica,Arial,sans-serif;color:#1c1c1c;max-width:62rem;
margin:1rem auto;padding:0 .8rem}
h1{font-size:1.5rem;margin:.2rem 0}h2{font-size:1.05rem;margin:1.4rem 0 .2rem;border-top:1px solid
#bbb;padding-top:.6rem} .drill{background:#fff3cd;border:2px solid #8a6d00;padding:.3rem .6rem;font-weight:700}
.answer{font-size:1.1rem;font-weight:600}dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem .9rem}
dt{color:#555}dd{margin:0}.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.85rem;margin:.4rem 0}
th,td{border:1px solid #bbb;padding:.2rem .45rem;text-align:left;vertical-align:top}th{background:#eee}
.notice{white-space:pre-wrap}.foot{font-size:.8rem;color:#444;border-top:2px solid #444;margin-top:1.6rem;
overflow-wrap:anywhere}svg{max-width:100%;height:auto}
@media print{body{font-size:10pt;margin:0}h2{break-after:avoid}tr{break-inside:avoid}}
"""


def to_html(report: AuditReport, *, whole_page: bool = True) -> str:
    """The report as HTML that needs no other file; ``whole_page=False`` gives the body only, to set into a page of
    ours."""
    out = [f"<h1>{escape(report.title)}</h1>"]
    if report.drill:
        out.append('<p class="drill">DRILL, not a real recall</p>')
    out.append(f'<p class="answer">{escape(report.answer)}</p><dl>')
    out += [f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in report.facts]
    out.append("</dl>")
    for a in report.answers:
        out.append(
            f'<h2>{a.number}. {escape(a.question)}</h2><p class="notice">{escape(a.sentence)}</p>{_html(a.table)}'
        )
    if report.path is not None:
        out.append(f"<h2>The path</h2>{svg(report.path)}")
    out.append(f'<h2>Every step of the path</h2>{_html(report.steps)}<p class="foot">{escape(_foot(report))}</p>')
    body = "\n".join(out)
    if not whole_page:
        return body
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(report.title)}</title><style>{_CSS}</style></head><body>\n{body}\n</body></html>\n"
    )


def _html(table: pd.DataFrame | None) -> str:
    if table is None or table.empty:
        return ""
    head = "".join(f'<th scope="col">{escape(str(c))}</th>' for c in table.columns)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(str(v))}</td>" for v in row) + "</tr>"
        for row in table.itertuples(index=False, name=None)
    )
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'


def _foot(report: AuditReport) -> str:
    head = ""
    if report.head is not None:
        head = (
            f" Ledger of {report.head.size} rows, root {report.head.root}, {report.head.at}. Anyone can check a "
            f"proof against "
            "this root without our software: see verify-without-us."
        )
    return f"{report.site + '. ' if report.site else ''}{report.caution}{head}"


def to_csv(report: AuditReport) -> str:
    """All tables of the report one below the other, each under its question; opens in any spreadsheet."""
    out = StringIO()
    write = csv.writer(out, lineterminator="\r\n")
    write.writerow([report.title])
    write.writerow([report.answer])
    write.writerows(report.facts)
    for answer in report.answers:
        write.writerow([])
        write.writerow([f"{answer.number}. {answer.question}", answer.sentence])
        _rows(write, answer.table)
    write.writerow([])
    write.writerow(["Every step of the path"])
    _rows(write, report.steps)
    write.writerow([])
    write.writerow([_foot(report)])
    return out.getvalue()


def _rows(write: Any, table: pd.DataFrame | None) -> None:
    if table is not None and len(table):
        write.writerow([str(c) for c in table.columns])
        write.writerows([_safe_cell(v) for v in row] for row in table.itertuples(index=False, name=None))


def _safe_cell(value: object) -> str:
    """A cell that a spreadsheet takes for text, even if a customer's name begins with a sign that starts a formula."""
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "@", "\t") else text


def to_pdf(report: AuditReport, *, paper: str = "A4") -> bytes:
    """The report as PDF for ``A4`` or ``Letter`` paper, page numbers and the ledger's root at each foot.

    The same report gives the same bytes.

    Raises:
        BadInput: another paper.
    """
    sizes = {"A4": A4, "Letter": LETTER}
    if paper not in sizes:
        raise BadInput(f"{paper!r} is no paper known here; use A4 or Letter.", value=paper)
    out = BytesIO()
    size = sizes[paper]
    document = SimpleDocTemplate(
        out, pagesize=size, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=14 * mm, bottomMargin=20 * mm,
        title=report.title, author=report.site or "Slabbook", invariant=1,
    )  # fmt: skip
    width = size[0] - 30 * mm - 12  # the frame pads 6 points on either side
    styles = _styles()
    story: list[Flowable] = [Paragraph(_text(report.title), styles["title"])]
    if report.drill:
        story.append(Paragraph("DRILL, not a real recall", styles["drill"]))
    story.append(Paragraph(_text(report.answer), styles["answer"]))
    facts = [[Paragraph(_text(k), styles["cell"]), Paragraph(_text(v), styles["cell"])] for k, v in report.facts]
    story += [Table(facts, colWidths=[32 * mm, width - 32 * mm], style=_PLAIN), Spacer(1, 3 * mm)]
    for answer in report.answers:
        head = [
            Paragraph(_text(f"{answer.number}. {answer.question}"), styles["question"]),
            Paragraph(_text(answer.sentence), styles["body"]),
        ]
        table = _pdf_table(answer.table, width, styles["cell"])
        short = answer.table is not None and len(answer.table) < KEPT_TOGETHER
        story += [KeepTogether([*head, *table])] if short else [*head, *table]
    if report.path is not None:
        story += [Paragraph("The path", styles["question"]), drawing(report.path, width)]
    steps = _pdf_table(report.steps.head(STEPS_IN_PDF), width, styles["cell"])
    if len(report.steps) > STEPS_IN_PDF:
        said = f"{len(report.steps)} steps: too many for paper. They are all on the page (HTML) and in the table (CSV)."
        story += [Paragraph("Every step of the path", styles["question"]), Paragraph(said, styles["body"])]
    elif steps:
        story += [Paragraph("Every step of the path", styles["question"]), *steps]
    story.append(Paragraph(_text(_foot(report)), styles["foot"]))

    def foot(canvas: Any, doc: Any) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 7)
        root = f"{report.head.size} rows, root {report.head.root}" if report.head else "no tree head given"
        canvas.drawString(15 * mm, 11 * mm, f"{report.site}  {root}".strip())
        canvas.drawRightString(size[0] - 15 * mm, 11 * mm, f"page {doc.page}")
        if report.drill:
            canvas.drawString(15 * mm, 7.5 * mm, "DRILL, not a real recall")
        canvas.restoreState()

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


_PLAIN = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 0.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ]
)
_GRID = TableStyle([
    ("GRID", (0, 0), (-1, -1), 0.3, colors.Color(0.6, 0.6, 0.6)), ("BACKGROUND", (0, 0), (-1, 0), colors.Color(0.92, 0.92, 0.92)),
    ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 2), ("RIGHTPADDING", (0, 0), (-1, -1), 2),
    ("TOPPADDING", (0, 0), (-1, -1), 1), ("FONTSIZE", (0, 0), (-1, -1), 7.2), ("LEADING", (0, 0), (-1, -1), 8.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
])  # fmt: skip


def _styles() -> dict[str, ParagraphStyle]:
    base = getSampleStyleSheet()["BodyText"]

    def style(name: str, **values: Any) -> ParagraphStyle:
        return ParagraphStyle(name, parent=base, **values)

    return {
        "title": style("title", fontName="Helvetica-Bold", fontSize=15, leading=18, spaceAfter=2),
        "drill": style("drill", fontName="Helvetica-Bold", fontSize=11, backColor=colors.Color(1, 0.95, 0.8), borderPadding=3, spaceAfter=4),
        "answer": style("answer", fontName="Helvetica-Bold", fontSize=10.5, leading=13, spaceAfter=5),
        "question": style("question", fontName="Helvetica-Bold", fontSize=10, leading=12, spaceBefore=7, spaceAfter=1, keepWithNext=1),
        "body": style("body", fontSize=9, leading=11.5, spaceAfter=2),
        "cell": style("cell", fontSize=7.2, leading=8.6, spaceBefore=0, spaceAfter=0),
        "foot": style("foot", fontSize=7.5, leading=9.5, spaceBefore=8),
    }  # fmt: skip


def _text(text: str) -> str:
    """Text for a paragraph: escaped, line breaks kept, and a narrow space (which the PDF fonts lack) made a plain
    one."""
    return escape(text.replace("\u202f", " ")).replace("\n", "<br/>")


def _pdf_table(table: pd.DataFrame | None, width: float, style: ParagraphStyle) -> list[Flowable]:
    """A table as blocks of ``CHUNK`` rows under one another, each with its head; nothing for an empty one."""
    if table is None or table.empty:
        return []
    cells = table.astype(str)
    longest = [max(4, min(26, max(len(str(c)), int(cells[c].str.len().max())))) for c in table.columns]
    share = width / sum(longest)
    widths = [n * share for n in longest]
    fits = [n * share / 3.9 for n in longest]
    head = [Paragraph(f"<b>{_text(str(c))}</b>", style) for c in table.columns]
    out: list[Flowable] = []
    rows = list(cells.itertuples(index=False, name=None))
    for start in range(0, len(rows), CHUNK):
        body = [
            [_plain(v) if len(v) <= fits[n] else Paragraph(_text(v), style) for n, v in enumerate(row)]
            for row in rows[start : start + CHUNK]
        ]
        out.append(Table([head, *body], colWidths=widths, repeatRows=1, style=_GRID))
    return out


def _plain(text: str) -> str:
    return text.replace("\u202f", " ")


def drawing(path: Path, width: float) -> Drawing:
    """The path as vector shapes for the PDF, laid out like the SVG."""
    spots = layout(path)
    deep = int(spots["layer"].max()) + 1
    tall = int(spots["layer"].value_counts().max())
    height = max(28 * mm, min(230 * mm, tall * 11 * mm))
    box_w = min(38 * mm, width / deep * 0.74)
    box_h = min(9 * mm, height / tall * 0.8)
    step = (width - box_w) / max(1, deep - 1)
    sheet = Drawing(width, height)
    at: dict[str, tuple[float, float]] = {}
    for row in spots.to_dict("records"):
        at[row["lot"]] = (row["layer"] * step, height * (1 - row["y"]))
    joins = lines(path)
    heaviest = max(1, int(joins["mass_mg"].max())) if len(joins) else 1
    for row in joins.to_dict("records"):
        (x1, y1), (x2, y2) = at[row["parent"]], at[row["child"]]
        sheet.add(
            PolyLine(
                [x1 + box_w, y1, x1 + box_w + (x2 - x1 - box_w) * 0.3, y1, x2 - (x2 - x1 - box_w) * 0.3, y2, x2, y2],
                strokeWidth=0.4 + 2.2 * row["mass_mg"] / heaviest,
                strokeColor=colors.Color(0.55, 0.57, 0.6),
            )
        )
    for row in spots.to_dict("records"):
        x, y = at[row["lot"]]
        asked = row["lot"] == path.start
        sheet.add(
            Rect(
                x, y - box_h / 2, box_w, box_h, rx=2, ry=2, fillColor=colors.HexColor(KIND_COLOURS.get(row["kind"], "#f2f2f2")),
                strokeColor=colors.Color(0.69, 0, 0.13) if asked else colors.Color(0.3, 0.3, 0.3), strokeWidth=1.4 if asked else 0.5,
            )
        )  # fmt: skip
        room = max(4, int(box_w / 3.3))
        sheet.add(String(x + 2, y + 0.6, row["lot"][:room], fontSize=6.2, fontName="Helvetica-Bold"))
        sheet.add(String(x + 2, y - 6.4, (row["label"] or row["kind"])[:room], fontSize=5.4))
    return sheet


def notice_pdf(notice: str, *, title: str = "Notice", paper: str = "A4") -> bytes:
    """A notice to customers on one page, large enough to read from a counter."""
    out = BytesIO()
    size = {"A4": A4, "Letter": LETTER}.get(paper, A4)
    document = SimpleDocTemplate(out, pagesize=size, leftMargin=22 * mm, rightMargin=22 * mm, title=title, invariant=1)
    first, _, rest = notice.partition("\n\n")
    base = getSampleStyleSheet()["BodyText"]
    big = ParagraphStyle("big", parent=base, fontName="Helvetica-Bold", fontSize=22, leading=27, spaceAfter=10)
    body = ParagraphStyle("body", parent=base, fontSize=13, leading=18, spaceAfter=9)
    document.build([Paragraph(_text(first), big), *(Paragraph(_text(p), body) for p in rest.split("\n\n"))])
    return out.getvalue()
