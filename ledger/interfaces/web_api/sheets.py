"""Batch sheets over HTTP: planned, issued, and fetched again as figures, HTML or PDF."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Response
from pydantic import BaseModel, ConfigDict, Field

from ledger import quantities
from ledger.application import sheets, sheets_check, sheets_compare
from ledger.application.ledger import Ledger
from ledger.application.report_text import as_data
from ledger.application.sheets import Ask, how_printed
from ledger.craft.build_pdf import render_build_pdf
from ledger.craft.sheet import BatchSheet, sheet_to_plain
from ledger.craft.sheet_html import render_html
from ledger.craft.sheet_pdf import render_pdf
from ledger.craft.sheet_text import Units, sheet_text
from ledger.domain.books import entries as e
from ledger.domain.books.book import Book
from ledger.domain.codes import in_capitals
from ledger.errors import UnknownThing
from ledger.interfaces.web_api.asked import InCapitals, Plain, TheLedger
from ledger.interfaces.web_api.problems import NotThere

router = APIRouter(tags=["sheets"])
Said = Annotated[str, Field(max_length=40)]
Code = Annotated[str, Field(max_length=64)]
Day = Annotated[str, Field(pattern=r"^(\d{4}-\d{2}-\d{2})?$")]
HTML_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'"


class SheetIn(BaseModel):
    """What is wanted, as people say it; with `issue` the batch is opened and the sheet kept."""

    model_config = ConfigDict(extra="forbid")

    design: Code
    flavour: Code = ""
    packs: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    pieces: Annotated[int, Field(ge=0, le=100_000_000)] = 0
    pack: Code = ""
    kettle: Code = ""
    day: Day = ""
    batch: Annotated[str, Field(max_length=20)] = ""
    water_reads: Said = ""
    barometer: Said = ""
    barometer_is_sea_level: bool = False
    log: Said = ""
    rod: Said = ""
    piece: Said = ""
    ends: Said = ""
    on_low_yield: bool = False
    issue: bool = False
    actor: Annotated[str, Field(max_length=40)] = ""
    command_id: Annotated[str, Field(max_length=64)] = ""

    def ask(self, book: Book) -> Ask:
        """As the application asks it, codes as the book writes them. Raises BadInput."""

        def size(text: str) -> int:
            return quantities.length(text) if text else 0

        return Ask(
            design=book.meant(e.Design, self.design), flavour=book.meant(e.Flavour, self.flavour), packs=self.packs, pieces=self.pieces,
            pack=book.meant(e.Pack, self.pack), kettle=book.meant(e.Station, self.kettle),
            day=self.day, batch=in_capitals(self.batch), water_reads_mc=quantities.temperature(self.water_reads) if self.water_reads else None,
            water_said=self.water_reads, barometer_pa=quantities.pressure(self.barometer) if self.barometer else None, barometer_is_sea_level=self.barometer_is_sea_level,
            log_um=size(self.log), rod_um=size(self.rod), piece_um=size(self.piece), ends_um=size(self.ends) if self.ends else None,
            on_low_yield=self.on_low_yield,
        )  # fmt: skip


class SheetOut(BaseModel):
    """A sheet: every planned figure in whole units, and its warnings in words."""

    issued: bool
    repeated: bool = False
    batch: str
    first: int = 0
    last: int = 0
    warnings: list[str]
    notes: list[str] = []
    sheet: dict[str, Any]


class ThermometerIn(BaseModel):
    """A thermometer held in boiling water."""

    model_config = ConfigDict(extra="forbid")

    station: Code
    reads: Said
    barometer: Said = ""
    barometer_is_sea_level: bool = False
    day: Day = ""
    note: Annotated[str, Field(max_length=400)] = ""
    actor: Annotated[str, Field(max_length=40)] = ""
    command_id: Annotated[str, Field(max_length=64)] = ""


class ThermometerOut(BaseModel):
    """What was kept, and the end temperatures as this thermometer shows them (thousandths of a degree C)."""

    entry: int
    reading_mc: int
    expected_mc: int
    told: list[str]
    warning: str
    ends: list[dict[str, Any]]


def warnings(sheet: BatchSheet, units: Units) -> list[str]:
    """The sheet's flags as sentences."""
    return list(sheet_text(sheet, units).flags)


@router.post("/sheets", summary="Plan a batch sheet; with `issue`, open the batch and keep it", response_model=SheetOut)
def post_sheet(ledger: TheLedger, given: SheetIn, response: Response) -> Plain:
    """Nothing is recorded without `issue`. With a `command_id` that comes again the sheet of the first time comes back."""
    if not given.issue:
        planned = sheets.plan(ledger, given.ask(ledger.book()))
        return {
            "issued": False, "batch": "", "warnings": warnings(planned.sheet, planned.units), "notes": [*planned.hints, *planned.notes],
            "sheet": sheet_to_plain(planned.sheet),
        }  # fmt: skip
    book = ledger.book()
    done = sheets.issue(ledger, given.ask(book), book.who(given.actor), given.command_id)
    response.headers["X-Ledger-Position"] = str(done.last)
    response.headers["Location"] = f"/api/v1/batches/{done.batch}/sheet"
    return {
        "issued": True, "repeated": done.repeated, "batch": done.batch, "first": done.first, "last": done.last,
        "warnings": warnings(done.planned.sheet, done.planned.units), "notes": [*done.planned.hints, *done.planned.notes],
        "sheet": sheet_to_plain(done.planned.sheet),
    }  # fmt: skip


@router.post("/thermometer-checks", summary="Keep a boiling-water reading", response_model=ThermometerOut)
def post_check(ledger: TheLedger, given: ThermometerIn) -> Plain:
    """The next sheet for that kettle is corrected by it."""
    found = sheets_check.check(
        ledger, ledger.book().meant(e.Station, given.station), given.reads, barometer_pa=quantities.pressure(given.barometer) if given.barometer else None,
        sea_level=given.barometer_is_sea_level, day=given.day, note=given.note, by=ledger.book().who(given.actor), command_id=given.command_id,
    )  # fmt: skip
    ends = [{"flavours": list(names), "recipe_mc": recipe, "here_mc": here} for names, recipe, here in found.ends]
    return {
        "entry": found.entry, "reading_mc": found.reading_mc, "expected_mc": found.expected_mc, "told": list(found.lines),
        "warning": found.warning, "ends": ends,
    }  # fmt: skip


def sheet_of(ledger: Ledger, code: str) -> BatchSheet:
    """The kept sheet, or the API's own not-there."""
    try:
        return sheets.kept(ledger, code)
    except UnknownThing as error:
        raise NotThere(error.message, **error.facts) from error


@router.get("/batches/{code}/sheet", summary="The newest sheet of a batch", response_model=SheetOut)
def get_sheet(ledger: TheLedger, code: InCapitals) -> Plain:
    """Every planned figure as it was printed."""
    sheet = sheet_of(ledger, code)
    told = warnings(sheet, how_printed(ledger.book())[0])
    return {"issued": True, "batch": sheet.batch, "warnings": told, "sheet": sheet_to_plain(sheet)}


@router.get("/batches/{code}/sheet/compared", summary="Plan against actual of a batch", response_model=dict[str, Any])
def get_compared(ledger: TheLedger, code: InCapitals) -> Plain:
    """Per material, pour, portion and count: planned, recorded, off by how much."""
    sheet_of(ledger, code)
    return as_data(sheets_compare.batch_report(ledger, code))


_PDF: dict[int | str, dict[str, Any]] = {200: {"content": {"application/pdf": {}}, "description": "One page of PDF"}}


@router.get("/batches/{code}/sheet.pdf", summary="The sheet to print", response_class=Response, responses=_PDF)
def get_pdf(ledger: TheLedger, code: InCapitals) -> Response:
    """In the shop's units, on the shop's paper."""
    data = render_pdf(sheet_of(ledger, code), *how_printed(ledger.book()))
    return Response(data, media_type="application/pdf", headers=_named(code, "sheet"))


@router.get(
    "/batches/{code}/section.pdf", summary="The section of the log, one to one", response_class=Response, responses=_PDF
)
def get_section(ledger: TheLedger, code: InCapitals) -> Response:
    """To lay beside the slab while the log is built."""
    data = render_build_pdf(sheet_of(ledger, code), *how_printed(ledger.book()))
    return Response(data, media_type="application/pdf", headers=_named(code, "section"))


@router.get(
    "/batches/{code}/sheet.html", summary="The sheet as a page", response_class=Response,
    responses={200: {"content": {"text/html": {}}, "description": "A page that needs nothing else"}},
)  # fmt: skip
def get_html(ledger: TheLedger, code: InCapitals) -> Response:
    """The same page as the PDF."""
    text = render_html(sheet_of(ledger, code), *how_printed(ledger.book()))
    return Response(text, media_type="text/html; charset=utf-8", headers={"Content-Security-Policy": HTML_POLICY})


def _named(code: str, what: str) -> dict[str, str]:
    name = "".join(x for x in code if x.isascii() and (x.isalnum() or x in "-."))
    return {"Content-Disposition": f'inline; filename="{what}-{name}.pdf"'}
