"""Questions over HTTP: where the ledger stands, its lots, batches, book, flags and log."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, Query
from fastapi.responses import StreamingResponse

from ledger.domain.books.entries import KINDS, Flavour, Material, Pack
from ledger.interfaces.web_api.asked import Asked, InCapitals, Plain, TheLedger
from ledger.interfaces.web_api.problems import BadRequest, NotThere
from ledger.interfaces.web_api.schemas import Head, Rows
from ledger.interfaces.web_api.wire import rows, spoken
from ledger.store.times import utc_now, utc_text

router = APIRouter(tags=["questions"])
After = Annotated[int, Query(ge=0, le=2**53, description="Only what stands after this position.")]
Most = Annotated[int, Query(ge=1, le=2000, description="At most so many.")]
Code = Annotated[str | None, Query(max_length=64)]
Day = Annotated[str | None, Query(pattern=r"^\d{4}-\d{2}-\d{2}$", description="An ISO day.")]
ALL_BATCHES = 10_000_000


def page(frame: pd.DataFrame, asked: Asked, after: int, most: int) -> Plain:
    """The part of a frame that stands after a position, in order of position."""
    rest = frame[frame["position"] > after].sort_values("position", kind="stable")
    part = rest.head(most)
    if len(rest) > most:  # things that share a position stay on one page
        part = rest[rest["position"] <= part["position"].iloc[-1]]
    more = len(rest) > len(part)
    following = int(part["position"].iloc[-1]) if more else None
    return {"as_of": asked.position, "items": rows(part, asked.site), "next": following}


@router.get("/head", summary="Where the ledger stands", response_model=Head)
def head(ledger: TheLedger) -> Any:
    """The newest position, when it was recorded, the shop's day and the service's clock."""
    at = ledger.queries.as_of()
    return {"position": at.position, "recorded_at": at.recorded_at, "today": ledger.today(), "now": utc_text(utc_now())}


@router.get("/batches", summary="Batches, in the order opened", response_model=Rows)
def batches(ledger: TheLedger, asked: Asked, status: Annotated[str | None, Query(pattern="^(open|closed|voided)$")] = None,
            flavour: Code = None, first_day: Day = None, last_day: Day = None, after: After = 0, most: Most = 200) -> Plain:  # fmt: skip
    """Batches with the steps they have reached."""
    flavour = ledger.book().meant(Flavour, flavour) if flavour else flavour
    found = ledger.queries.batches(
        status=status, flavour=flavour, first_day=first_day, last_day=last_day, most=ALL_BATCHES
    )
    return page(found, asked, after, most)


@router.get("/batches/{batch}", summary="One batch with its lots and entries")
def batch(batch: InCapitals, ledger: TheLedger, asked: Asked) -> Plain:
    """The batch, every lot made in it, and every entry of its stream."""
    found = ledger.queries.batches(names=[batch])
    if found.empty:
        raise NotThere(
            f"There is no batch `{batch}` in this ledger. GET /api/v1/batches lists them.", kind="batch", id=batch
        )
    return {
        "as_of": asked.position, "batch": rows(found, asked.site)[0],
        "lots": rows(ledger.queries.lots(holding=False, batch=batch), asked.site),
        "entries": entries(ledger.queries.log(batch=batch, most=2000), asked),
    }  # fmt: skip


@router.get("/lots", summary="Lots, in the order made", response_model=Rows)
def lots(ledger: TheLedger, asked: Asked, kind: Code = None, flavour: Code = None, batch: InCapitals | None = None, item: Code = None,
         holding: bool = True, after: After = 0, most: Most = 200) -> Plain:  # fmt: skip
    """Lots with what they hold. `holding=false` lists the empty ones too."""
    book = ledger.book()
    flavour = book.meant(Flavour, flavour) if flavour else flavour
    item = book.meant(Pack, book.meant(Material, item)) if item else item
    found = ledger.queries.lots(
        holding=holding, kinds=[kind] if kind else None, flavour=flavour, batch=batch, item=item
    )
    return page(found, asked, after, most)


@router.get("/lots/{lot}", summary="One lot")
def lot(lot: InCapitals, ledger: TheLedger, asked: Asked) -> Plain:
    """The lot and every movement in or out of it that is believed now."""
    found = ledger.queries.lots(holding=False, names=[lot])
    if found.empty:
        raise NotThere(
            f"There is no lot `{lot}` in this ledger. GET /api/v1/lots?holding=false lists them.", kind="lot", id=lot
        )
    moves = ledger.queries.postings(lot=lot)
    return {"as_of": asked.position, "lot": rows(found, asked.site)[0], "movements": rows(moves, asked.site)}


@router.get("/book", summary="What stands in the book now")
def book(ledger: TheLedger, asked: Asked, kind: Code = None) -> Plain:
    """Every entry in its newest version, by kind."""
    if kind is not None and kind not in KINDS:
        raise BadRequest(f"`{kind}` is no kind of book entry; known are {', '.join(KINDS)}.", value=kind)
    found = ledger.queries.book_history(kind)
    newest = found.groupby(["kind", "id"], sort=True).tail(1) if len(found) else found
    return {"as_of": asked.position, "items": rows(newest, asked.site)}


@router.get("/book/{kind}/{id}", summary="One book entry with its history")
def book_entry(kind: str, id: str, ledger: TheLedger, asked: Asked) -> Plain:
    """Every version, oldest first."""
    if kind in KINDS:
        id = ledger.book().meant(KINDS[kind], id)
    found = ledger.queries.book_history(kind, id)
    if found.empty:
        raise NotThere(f"There is no {kind} `{id}` in the book. GET /api/v1/book lists it.", kind=kind, id=id)
    return {"as_of": asked.position, "versions": rows(found, asked.site)}


@router.get("/flags", summary="What was strange, and what was answered")
def flags(ledger: TheLedger, asked: Asked, open_only: bool = False) -> Plain:
    """Flags in order of day."""
    return {"as_of": asked.position, "items": rows(ledger.queries.flags(open_only=open_only), asked.site)}


def entries(frame: pd.DataFrame, asked: Any) -> list[Plain]:
    """Entries of the log as objects; `payload` stays in the ledger's own canonical integers, as it was hashed."""
    found = []
    for row in frame.to_dict("records"):
        payload = row.pop("payload")
        entry: Plain = {str(k): spoken(str(k), v, asked.site)[1] for k, v in row.items()}
        entry["payload"] = json.loads(payload)
        found.append(entry)
    return found


@router.get("/log", summary="The event log, a page at a time", response_model=Rows)
def log(ledger: TheLedger, asked: Asked, after: After = 0, most: Most = 200, stream: Code = None, name: Code = None,
        text: Annotated[str | None, Query(max_length=100)] = None) -> Plain:  # fmt: skip
    """Entries in order. `next` is the position to go on from."""
    found = ledger.queries.log(after=after, most=most, stream=stream, name=name, text=text)
    following = int(found["position"].iloc[-1]) if len(found) == most else None
    return {"as_of": asked.position, "items": entries(found, asked), "next": following}


@router.get("/log/stream", summary="The event log as lines of JSON", response_class=StreamingResponse,
            responses={200: {"content": {"application/x-ndjson": {}}}})  # fmt: skip
def log_stream(ledger: TheLedger, asked: Asked, after: After = 0,
               wait: Annotated[int, Query(ge=0, le=30, description="Seconds to stay for entries still to come.")] = 0) -> StreamingResponse:  # fmt: skip
    """Every entry after a position, one JSON object a line (NDJSON). With `wait` the line stays open for what others record."""

    def lines() -> Iterator[str]:
        at, until = after, time.monotonic() + wait
        while True:
            found = ledger.queries.log(after=at, most=500)
            for entry in entries(found, asked):
                yield json.dumps(entry, separators=(",", ":")) + "\n"
            if len(found):
                at = int(found["position"].iloc[-1])
            elif time.monotonic() >= until:
                return
            else:
                time.sleep(0.25)

    return StreamingResponse(lines(), media_type="application/x-ndjson")
