"""Plain forms of the audit: start, note and close a recall, and the short address on a label. They work on any phone, script or not.

They stand on pages of their own so that no live update can disturb typing. A write from another site's page is refused.
"""

from __future__ import annotations

from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from dashboard.components.plain_forms import by as by_whom
from dashboard.components.plain_forms import check, choose, serve, text
from dashboard.forms.markup import Html, tag
from ledger import quantities
from ledger.analytics.records import records
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from ledger.quantities import mass_text
from ledger.store.ids import uuid7

router = APIRouter(include_in_schema=False)
CAUTION = "If people may be harmed, telephone the local food authority first: whom to tell and how fast is decided with them, not by this program."
BACK = ("/recall", "Back to the recall")


def start_form(ledger: Ledger, given: dict[str, str]) -> str:
    """What starts a recall: the lot, why, drill or real."""
    return tag("p", CAUTION, class_="caution") + tag(
        "form", text("lot", "Lot (type it or scan it)", given.get("lot", ""), required=True), text("reason", "Why", given.get("reason", ""), required=True),
        check("drill", "This is a drill: every paper says so", given.get("drill", "") == "yes"), by_whom(ledger, given.get("by", "")),
        tag("button", "Find and hold everything made with it", type="submit", class_="button"), method="post", action="/recall/start",
    )  # fmt: skip


SAID = {"authority": "Authority told", "called": "Customer called", "answered": "Customer answered", "pulled": "Set aside at a customer's", "returned": "Packs came back to us",
        "counted": "Counted here", "destroyed": "Destroyed", "notice": "Notice sent or printed", "note": "Something else"}  # fmt: skip
POSTS = {"returned": "The packs go back into their lot in the ledger, and are held.", "counted": "A stock-take: what is missing or over is posted as unexplained.",
         "destroyed": "The stock leaves the ledger as scrap, cause recall."}  # fmt: skip


def note_form(ledger: Ledger, code: str, given: dict[str, str]) -> str:
    """What happened in a recall: first what it was, then only the fields that belong to it."""
    kind = given.get("kind", "")
    if kind not in SAID:
        drill = audit_recall.the_recall(ledger, code).started.drill
        return _choices(
            code,
            given,
            "kind",
            [(k, SAID[k]) for k in SAID if not drill or k not in ("returned", "destroyed", "authority")],
        )
    lots = _lots(ledger, code, kind) if kind in POSTS else {}
    row = lots.get(given.get("lot", ""))
    if kind in POSTS and row is None:
        if not lots:
            return tag("p", "No lot of this recall holds anything that could be written down here.")
        return tag("p", "Which lot?") + _choices(
            code, given, "lot", [(k, f"{k}: {v[0]}, {v[1]}") for k, v in lots.items()]
        )
    parts: list[Html | None] = [tag("input", type="hidden", name="kind", value=kind), tag("input", type="hidden", name="command_id", value=given.get("command_id") or uuid7()),
                                tag("p", POSTS[kind], class_="quiet") if kind in POSTS else None]  # fmt: skip
    if kind in ("called", "answered", "pulled", "returned"):
        counters = (
            [(f"channel:{c.id}", f"Consumers, {c.name}") for c in ledger.book().all(e.Channel)]
            if kind == "returned"
            else []
        )
        parts.append(
            choose(
                "partner",
                "From" if counters else "Customer",
                [("", "choose"), *counters, *_customers(ledger)],
                given.get("partner", ""),
            )
        )
    if row is not None:
        parts.append(tag("input", type="hidden", name="lot", value=given["lot"]))
        parts.append(tag("p", f"Lot {given['lot']}, {row[0]}: {row[1]} on hand by the books."))
    everything = ", empty: all of it" if kind == "destroyed" else ""
    if kind in ("answered", "pulled", "returned") or (row is not None and row[2]):
        word = (
            "Packs still there"
            if kind == "answered"
            else f"Packs found (0: none){everything}"
            if kind == "counted"
            else f"Packs{everything}"
        )
        parts.append(text("packs", word, given.get("packs", ""), "number", required=kind == "returned"))
    if row is not None and not row[2]:
        parts.append(
            text(
                "mass",
                f"{'Found' if kind == 'counted' else 'Weight'}, such as 2.4 kg{everything}",
                given.get("mass", ""),
            )
        )
    if kind == "returned":
        parts.append(text("refund", f"Paid back ({ledger.book().site().currency})", given.get("refund", "")))
    parts += [
        text("text", "Note", given.get("text", "")),
        by_whom(ledger, given.get("by", "")),
        tag("button", "Write it down", type="submit", class_="button"),
    ]
    return tag("form", *parts, method="post", action=f"/recall/{quote(code)}/note")


def _choices(code: str, given: dict[str, str], name: str, options: list[tuple[str, str]]) -> Html:
    """A thumb's choice, each leading to the same form with one answer more."""
    links = [
        tag("a", words, href=f"/recall/{quote(code)}/note?{urlencode(given | {name: value})}", class_="plain")
        for value, words in options
    ]
    return tag("nav", *links, class_="choices")


def _customers(ledger: Ledger) -> list[tuple[str, str]]:
    names = {str(r["id"]): str(r["name"]) for r in records(ledger.queries.contacts())}
    return [(p.id, names.get(p.id) or p.id) for p in ledger.book().all(e.Partner) if p.role == "customer"]


def _lots(ledger: Ledger, code: str, kind: str) -> dict[str, tuple[str, str, bool]]:
    """Lots of the recall that a note can be about: what each is, what is on hand, whether it is kept in packs."""
    frame = audit_recall.work(ledger, code).recall.progress
    rows = (
        frame[frame["unit"] == "packs"]
        if kind == "returned"
        else frame[frame["on_hand"] > 0]
        if kind == "destroyed"
        else frame
    )
    units = ledger.book().site().units
    return {
        str(r["lot"]): (str(r["label"]), mass_text(int(r["on_hand"]), units) if r["unit"] == "mg" else f"{r['on_hand']} {r['unit']}", r["unit"] == "packs")
        for r in records(rows)
    }  # fmt: skip


def close_form(ledger: Ledger, code: str, given: dict[str, str]) -> str:
    """How a recall ends."""
    drill = audit_recall.the_recall(ledger, code).started.drill
    return tag(
        "form", tag("p", "The figures are worked out now and kept with the closing entry; the report can be printed at any time after."),
        check("release", "Let the held lots go again", given.get("release", "yes" if drill else "") == "yes"), by_whom(ledger, given.get("by", "")),
        tag("button", f"Close {code}", type="submit", class_="button"), method="post", action=f"/recall/{quote(code)}/close",
    )  # fmt: skip


def _form(ledger: Ledger, what: str, code: str, given: dict[str, str]) -> tuple[str, str]:
    if what == "start":
        return "Start a recall or a drill", start_form(ledger, given)
    audit_recall.the_recall(ledger, code)
    if what == "note":
        said = SAID.get(given.get("kind", ""), "what happened")
        return f"{code}: {said}", note_form(ledger, code, given)
    return f"Close recall {code}", close_form(ledger, code, given)


def _act(ledger: Ledger, what: str, code: str, given: dict[str, str]) -> str:
    """Do it; the recall to show afterwards, as the address wants it."""
    by = given.get("by", "")
    if what == "start":
        if not given.get("reason", "").strip():
            raise BadInput("A recall needs a reason that customers may read.")
        made = audit_recall.start(
            ledger, given.get("lot", ""), given["reason"], drill=given.get("drill") == "yes", by=by
        )
        return f"{quote(made.recall)}&already=yes" if made.was_open else quote(made.recall)
    if what == "note":
        packs = given.get("packs", "").strip()
        if packs and not packs.isdigit():
            raise BadInput(f"`{packs}` is no number of packs; give a count from 0.", value=packs)
        mass, refund = given.get("mass", "").strip(), given.get("refund", "").strip()
        partner, channel = given.get("partner", ""), ""
        if partner.startswith("channel:"):
            partner, channel = "", ledger.book().meant(e.Channel, partner.removeprefix("channel:"))
        audit_recall.note(
            ledger, code, given.get("kind", ""), partner=partner, channel=channel, lot=given.get("lot", ""), packs=int(packs) if packs else None,
            mass_mg=quantities.mass(mass) if mass else None, amount=quantities.money(refund, ledger.book().site().currency_digits) if refund else 0,
            text=given.get("text", ""), by=by, command_id=given.get("command_id", ""),
        )  # fmt: skip
    else:
        audit_recall.close(ledger, code, release=given.get("release") == "yes", by=by)
    return quote(code)


async def _serve(request: Request, what: str, code: str = "") -> Response:
    def act(ledger: Ledger, given: dict[str, str]) -> str:
        return f"/recall?recall={_act(ledger, what, code, given)}"

    return await serve(request, lambda ledger, given: _form(ledger, what, code, given), act, BACK)


@router.api_route("/recall/start", methods=["GET", "POST"])
async def start(request: Request) -> Response:
    """Start a recall."""
    return await _serve(request, "start")


@router.api_route("/recall/{code}/note", methods=["GET", "POST"])
async def note(request: Request, code: str) -> Response:
    """Note progress."""
    return await _serve(request, "note", code)


@router.api_route("/recall/{code}/close", methods=["GET", "POST"])
async def close(request: Request, code: str) -> Response:
    """Close a recall."""
    return await _serve(request, "close", code)


@router.get("/L/{lot}")
@router.get("/l/{lot}")
def scanned(lot: str) -> RedirectResponse:
    """The short address in a label's QR code leads to the lot's page."""
    return RedirectResponse(f"/lots?mark={quote(lot)}", 307)
