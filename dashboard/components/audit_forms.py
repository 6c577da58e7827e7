"""Plain forms of the audit: start, note and close a recall, and the short address on a label. They work on any phone, script or not.

They stand on pages of their own so that no live update can disturb typing. A write from another site's page is refused.
"""

from __future__ import annotations

from html import escape
from urllib.parse import parse_qsl, quote, urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from dashboard.forms.markup import Html, tag
from ledger.application import audit_recall
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.errors import BadInput, SlabbookError

router = APIRouter(include_in_schema=False)
CAUTION = "If people may be harmed, telephone the local food authority first: whom to tell and how fast is decided with them, not by this program."
STYLE = """main{max-width:34rem;margin:0 auto;padding:1.2rem} form{display:flex;flex-direction:column;gap:1rem;margin-top:1rem}
label{font-weight:600;display:block} input[type=text],input[type=number],select{font:inherit;font-size:1.2rem;width:100%;min-height:54px;padding:.5rem .9rem;
border:1.5px solid var(--soft);border-radius:12px;background:var(--card);color:var(--ink)} .check{display:flex;gap:.8rem;align-items:center;min-height:54px}
.check input{width:28px;height:28px} .button{font-size:1.2rem;min-height:62px;width:100%}"""
THEME = 'try{const t=localStorage.getItem("slabbook.theme")||(matchMedia("(prefers-color-scheme: dark)").matches?"dark":"light");document.documentElement.setAttribute("data-mantine-color-scheme",t)}catch(e){}'


def page(title: str, body: str, refusal: str = "", status: int = 200) -> HTMLResponse:
    """A whole page with one form."""
    told = tag("p", refusal, class_="refusal", role="alert") if refusal else ""
    return HTMLResponse(
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f'<script>{THEME}</script><link rel="stylesheet" href="/assets/slabbook.css"><style>{STYLE}</style></head><body><main><h1>{escape(title)}</h1>{told}{body}'
        '<p><a href="/recall">Back to the recall</a></p></main></body></html>',
        status, headers={"Cache-Control": "no-store"},
    )  # fmt: skip


def _text(name: str, label: str, value: str = "", kind: str = "text", required: bool = False) -> Html:
    return tag("div", tag("label", label, for_=name), tag("input", id=name, name=name, type=kind, value=value, required=required, autocomplete="off", min="0" if kind == "number" else None))  # fmt: skip


def _check(name: str, label: str, on: bool) -> Html:
    return tag("label", tag("input", type="checkbox", name=name, value="yes", checked=on), label, class_="check")


def _choose(name: str, label: str, options: list[tuple[str, str]], value: str) -> Html:
    shown = [tag("option", words, value=v, selected=v == value) for v, words in options]
    return tag("div", tag("label", label, for_=name), tag("select", shown, id=name, name=name))


def _by(ledger: Ledger, value: str) -> Html:
    return _choose("by", "Who", [("", "not said"), *[(w.id, w.id) for w in ledger.book().all(e.Worker)]], value)


def start_form(ledger: Ledger, given: dict[str, str]) -> str:
    """What starts a recall: the lot, why, drill or real."""
    return tag("p", CAUTION, class_="caution") + tag(
        "form", _text("lot", "Lot (type it or scan it)", given.get("lot", ""), required=True), _text("reason", "Why", given.get("reason", ""), required=True),
        _check("drill", "This is a drill: every paper says so", given.get("drill", "") == "yes"), _by(ledger, given.get("by", "")),
        tag("button", "Find and hold everything made with it", type="submit", class_="button"), method="post", action="/recall/start",
    )  # fmt: skip


def note_form(ledger: Ledger, code: str, given: dict[str, str]) -> str:
    """What happened in a recall: a call, an answer, stock pulled back."""
    words = {"called": "Customer called", "answered": "Customer answered: packs still there", "pulled": "Pulled off a customer's shelf", "returned": "Came back to us",
             "counted": "Counted here", "notice": "Notice sent or printed", "authority": "Authority told", "note": "Something else"}  # fmt: skip
    partners = [("", "none"), *[(p.id, p.id) for p in ledger.book().all(e.Partner)]]
    return tag(
        "form", _choose("kind", "What", [(k, words[k]) for k in audit_recall.NOTE_KINDS], given.get("kind", "called")),
        _choose("partner", "Customer", partners, given.get("partner", "")), _text("packs", "Packs", given.get("packs", ""), "number"),
        _text("text", "Note", given.get("text", "")), _by(ledger, given.get("by", "")), tag("button", "Write it down", type="submit", class_="button"),
        method="post", action=f"/recall/{quote(code)}/note",
    )  # fmt: skip


def close_form(ledger: Ledger, code: str, given: dict[str, str]) -> str:
    """How a recall ends."""
    drill = audit_recall.the_recall(ledger, code).started.drill
    return tag(
        "form", tag("p", "The figures are worked out now and kept with the closing entry; the report can be printed at any time after."),
        _check("release", "Let the held lots go again", given.get("release", "yes" if drill else "") == "yes"), _by(ledger, given.get("by", "")),
        tag("button", f"Close {code}", type="submit", class_="button"), method="post", action=f"/recall/{quote(code)}/close",
    )  # fmt: skip


def _form(ledger: Ledger, what: str, code: str, given: dict[str, str]) -> tuple[str, str]:
    if what == "start":
        return "Start a recall or a drill", start_form(ledger, given)
    audit_recall.the_recall(ledger, code)
    if what == "note":
        return f"Recall {code}: what happened", note_form(ledger, code, given)
    return f"Close recall {code}", close_form(ledger, code, given)


def _act(ledger: Ledger, what: str, code: str, given: dict[str, str]) -> str:
    by = given.get("by", "")
    if what == "start":
        if not given.get("reason", "").strip():
            raise BadInput("A recall needs a reason that customers may read.")
        audit_recall.start(ledger, given.get("lot", ""), given["reason"], drill=given.get("drill") == "yes", by=by)
        return audit_recall.the_recall(ledger).started.recall
    if what == "note":
        packs = given.get("packs", "").strip() or "0"
        if not packs.isdigit():
            raise BadInput(f"`{packs}` is no number of packs; give a count from 0.", value=packs)
        audit_recall.note(
            ledger,
            code,
            given.get("kind", ""),
            partner=given.get("partner", ""),
            packs=int(packs),
            text=given.get("text", ""),
            by=by,
        )
    else:
        audit_recall.close(ledger, code, release=given.get("release") == "yes", by=by)
    return code


async def _serve(request: Request, what: str, code: str = "") -> Response:
    from starlette.concurrency import run_in_threadpool

    ledger: Ledger = request.app.state.ledger
    given = dict(request.query_params)
    refusal = ""
    try:
        if request.method == "POST":
            origin, host = request.headers.get("origin"), request.headers.get("host", "")
            if origin and urlsplit(origin).netloc != host:
                return page("Not from here", "", f"A page of {origin} may not write here.", 403)
            given = dict(parse_qsl((await request.body()).decode("utf-8", "replace")))
            try:
                done = await run_in_threadpool(_act, ledger, what, code, given)
                return RedirectResponse(f"/recall?recall={quote(done)}", 303)
            except SlabbookError as error:
                refusal = error.message
        title, body = await run_in_threadpool(_form, ledger, what, code, given)
    except SlabbookError as error:
        return page("This form cannot be opened", "", error.message, 404)
    return page(title, body, refusal, 422 if refusal else 200)


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
