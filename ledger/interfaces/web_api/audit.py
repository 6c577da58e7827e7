"""The lot audit over HTTP: paths, recalls, proofs and labels."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Query, Response
from pydantic import BaseModel, Field

from ledger import quantities
from ledger.application import audit, audit_epcis, audit_label, audit_proof, audit_recall
from ledger.application.checkpoints import checkpoint as tree_head
from ledger.application.report_text import as_data
from ledger.application.reports_types import basis
from ledger.domain.books.entries import Channel, Partner
from ledger.domain.codes import in_capitals
from ledger.errors import UnknownThing
from ledger.interfaces.web_api.asked import Asked, InCapitals, Plain, TheLedger
from ledger.interfaces.web_api.commands import out
from ledger.interfaces.web_api.problems import NotThere
from ledger.interfaces.web_api.schemas import OutcomeOut, Word
from ledger.trace.label_sheets import SHEETS
from ledger.trace.proof import proof_to_json
from ledger.trace.recall_report import notice_pdf, to_csv, to_html, to_pdf

router = APIRouter(tags=["audit"])
Mark = Annotated[
    str, Query(min_length=1, max_length=200, description="A lot, batch, code on a jar, or delivery document.")
]
Known = Annotated[str, Query(max_length=20, description="As known on this day or at this position.")]
PDF = "application/pdf"


def _there(ask: Callable[[], Any]) -> Any:
    """The answer; a mark that is not in this ledger is a 404 to whoever only asks."""
    try:
        return ask()
    except UnknownThing as error:
        raise NotThere(error.message, **error.facts) from error


@router.get("/trace", summary="Follow a lot, batch, jar or document")
def trace(ledger: TheLedger, asked: Asked, mark: Mark, direction: Literal["forward", "backward"] = "backward", known: Known = "",
          form: Literal["json", "svg"] = "json") -> Any:  # fmt: skip
    """The lots on the way with their shares, the steps, and (forward) where it left. `form=svg` draws it when it is short enough."""
    made = _there(lambda: audit.trace(ledger, mark, direction, known or None))
    if form == "svg":
        return Response(made.drawing, media_type="image/svg+xml") if made.drawing else Response(status_code=204)
    return as_data(made.report)


@router.get("/lots/{lot}/story", summary="The story of a lot, and whether it adds up")
def story(lot: str, ledger: TheLedger, asked: Asked, known: Known = "") -> Any:
    """Balance, movements, and the steps that leak."""
    return as_data(_there(lambda: audit.lot_report(ledger, lot, known or None)))


@router.get("/lots/{lot}/label", summary="Labels of a packed lot as PDF", response_class=Response)
def label(lot: str, ledger: TheLedger, asked: Asked, sheet: Annotated[str, Query(max_length=20)] = "a4-24",
          count: Annotated[int, Query(ge=0, le=5000)] = 0, skip: Annotated[int, Query(ge=0, le=100)] = 0, short: bool = False,
          market: Annotated[Literal["us", "eu"] | None, Query(description="Whose words; left out: the shop's own law.")] = None) -> Response:  # fmt: skip
    """`count=0` prints one for each pack on hand. Check the words against the food law where you sell."""
    data, made, _ = _there(
        lambda: audit_label.labels_pdf(ledger, lot, sheet, count=count, skip=skip, short=short, market=market)
    )
    return Response(data, media_type=PDF, headers={"Content-Disposition": f'inline; filename="labels-{made.lot}.pdf"'})


@router.get("/label-sheets", summary="Sheets and rolls labels are printed on")
def sheets() -> dict[str, str]:
    """Every sheet by name."""
    return {s.name: s.says for s in SHEETS.values()}


@router.get(
    "/epcis", summary="A lot's path or a period as a document compatible with GS1 EPCIS 2.0", response_class=Response
)
def epcis(ledger: TheLedger, asked: Asked, lot: Annotated[str, Query(max_length=64)] = "",
          first: Annotated[str, Query(max_length=10)] = "", last: Annotated[str, Query(max_length=10)] = "") -> Response:  # fmt: skip
    """Give `lot`, or `first` and `last` (days)."""
    text, _ = _there(lambda: audit_epcis.export(ledger, lot, first, last))
    return Response(text, media_type="application/ld+json")


@router.get("/proof", summary="A proof of an entry or a lot for a stranger", response_class=Response)
def proof(ledger: TheLedger, asked: Asked, of: Annotated[str, Query(min_length=1, max_length=64, description="Entry number or lot")],
          since: Annotated[str, Query(max_length=100, description="An earlier checkpoint, SIZE:ROOT")] = "", known: Known = "") -> Response:  # fmt: skip
    """The file that `slabbook proof` writes; see docs/verify-without-us.md. With `known` it ends in the root that a report of then carries."""
    earlier = audit_proof.read_head(since) if since else None
    made = _there(lambda: audit_proof.proof(ledger, of, earlier=earlier, known=known or None))
    return Response(
        proof_to_json(made),
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="proof.json"'},
    )


@router.get("/checkpoint", summary="Size and root of the ledger's tree")
def checkpoint(ledger: TheLedger, asked: Asked, known: Known = "") -> Plain:
    """What is printed on reports and sent out of the house; with `known`, as it was then."""
    head = tree_head(ledger, basis(ledger, known).known if known else None)
    return {"size": head.size, "root": head.root, "at": head.at}


class StartIn(BaseModel):
    """A recall or drill to start."""

    lot: str = Field(min_length=1, max_length=200)
    reason: str = Field(min_length=1, max_length=500)
    drill: bool = False
    actor: str = Field("", max_length=64)


class NoteIn(BaseModel):
    """Progress of a recall."""

    kind: Literal["called", "answered", "pulled", "returned", "counted", "destroyed", "notice", "authority", "note"]
    partner: str = Field("", max_length=64)
    lot: str = Field(
        "",
        max_length=200,
        description="The lot that was counted, came back or was destroyed: its stock moves with the note.",
    )
    packs: int | None = Field(None, ge=0, le=10_000_000)
    mass: str = Field("", max_length=40, description="For a lot kept by weight, such as `2.4 kg`.")
    channel: str = Field("", max_length=64, description="Where consumers brought packs back.")
    refund: str = Field("", max_length=40, description="Paid back for what came back, such as `28.50`.")
    text: str = Field("", max_length=500)
    actor: str = Field("", max_length=64)
    command_id: Word = Field(
        "", description="Made by the client: sent again after a lost answer, nothing is posted twice."
    )


class CloseIn(BaseModel):
    """The end of a recall; `release` lets the held lots go."""

    release: bool = False
    actor: str = Field("", max_length=64)


@router.get("/recalls", summary="Every recall and drill")
def recalls(ledger: TheLedger, asked: Asked) -> Plain:
    """Oldest first."""
    items = [{"recall": c.started.recall, "lot": c.started.lot, "reason": c.started.reason, "drill": c.started.drill, "day": c.started.day,
              "closed": c.closed is not None} for c in audit_recall.recalls(ledger)]  # fmt: skip
    return {"as_of": asked.position, "items": items}


class StartedOut(OutcomeOut):
    """A recall that was started, or the one that is open at this lot already: then `was_open` is true and nothing was recorded."""

    recall: str
    was_open: bool


@router.post("/recalls", summary="Start a recall or drill: affected lots are held at once", response_model=StartedOut)
def start(ledger: TheLedger, given: Annotated[StartIn, Body()]) -> Any:
    """If people may be harmed, telephone the local food authority first. Sent twice, the second answer names the first recall (`was_open`)."""
    made = audit_recall.start(ledger, given.lot, given.reason, drill=given.drill, by=ledger.book().who(given.actor))
    return out(made.outcome) | {"recall": made.recall, "was_open": made.was_open}


@router.get("/recalls/{recall}", summary="One recall worked out")
def one(
    recall: InCapitals,
    ledger: TheLedger,
    asked: Asked,
    form: Literal["json", "pdf", "html", "csv"] = "json",
    known: Known = "",
) -> Any:
    """`form=pdf`, `html` and `csv` are the printable report of the twelve audit questions. `head` is the tree's at the entry the answer stands on."""
    if form == "json":
        worked = _there(lambda: audit_recall.work(ledger, recall, known or None))
        r, head = worked.recall, tree_head(ledger, worked.on.known)
        frames = {
            "accounts": r.accounts,
            "recipients": r.recipients,
            "to_call": r.to_call,
            "counter": r.counter,
            "holdings": r.holdings,
            "progress": r.progress.assign(counted=[t.isoformat() if t else None for t in r.progress["counted"]]),
        }
        return {
            "as_of": head.size, "head": {"size": head.size, "root": head.root, "at": head.at}, "recall": r.case.code, "lot": r.case.lot, "drill": r.case.drill, "affected": list(r.affected),
            "score_percent": f"{r.score:.3f}", "unexplained": r.unexplained, "unit": r.score_unit,
            "clock": [{"what": w, "at": at.isoformat()} for w, at in r.clock],
            **{k: [{str(c): (v.item() if hasattr(v, "item") else v) for c, v in row.items()} for row in f.to_dict("records")] for k, f in frames.items()},
        }  # fmt: skip
    made = _there(lambda: audit_recall.report(ledger, recall, known or None))
    if form == "pdf":
        paper = "letter" if asked.site.paper == "letter" else "A4"
        return Response(to_pdf(made, paper=paper), media_type=PDF)
    return (
        Response(to_html(made), media_type="text/html")
        if form == "html"
        else Response(to_csv(made), media_type="text/csv")
    )


@router.get("/recalls/{recall}/notice", summary="The notice to customers", response_class=Response)
def notice(recall: InCapitals, ledger: TheLedger, asked: Asked, form: Literal["text", "pdf"] = "text") -> Response:
    """Agree the words with the local food authority before it goes out."""
    text = _there(lambda: audit_recall.notice(ledger, recall))
    return Response(text, media_type="text/plain") if form == "text" else Response(notice_pdf(text), media_type=PDF)


@router.post("/recalls/{recall}/notes", summary="Write down progress", response_model=OutcomeOut)
def note(recall: InCapitals, ledger: TheLedger, given: Annotated[NoteIn, Body()]) -> Any:
    """A customer called or answering, stock pulled off a shelf, a notice printed. `returned`, `counted` and `destroyed` name a lot and post its stock."""
    book = ledger.book()
    digits = book.site().currency_digits
    partner = book.meant(Partner, given.partner)
    channel = book.meant(Channel, given.channel)
    done = audit_recall.note(
        ledger, recall, given.kind, partner=partner, lot=in_capitals(given.lot), packs=given.packs, channel=channel, text=given.text,
        by=book.who(given.actor), mass_mg=quantities.mass(given.mass) if given.mass else None, command_id=given.command_id,
        amount=quantities.money(given.refund, digits) if given.refund else 0,
    )  # fmt: skip
    return out(done)


@router.post("/recalls/{recall}/close", summary="End a recall with its figures", response_model=OutcomeOut)
def close(recall: InCapitals, ledger: TheLedger, given: Annotated[CloseIn, Body()]) -> Any:
    """The figures are worked out from the rows as they stand."""
    return out(audit_recall.close(ledger, recall, release=given.release, by=ledger.book().who(given.actor)))
