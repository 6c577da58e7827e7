"""The frame of the plain forms: one form on a page of its own, so that no live update can disturb typing; it works on any phone, script or not.

A write that comes from another site's page is refused. What was typed stands there again beside a refusal.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from urllib.parse import parse_qsl, urlsplit

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from dashboard.components.ways import for_page
from dashboard.forms.markup import Html, tag
from ledger.application.ledger import Ledger
from ledger.domain.books import entries as e
from ledger.errors import SlabbookError

Given = dict[str, str]
Back = tuple[str, str]
"""Where the way back leads, and its words."""
STYLE = """main{max-width:34rem;margin:0 auto;padding:1.2rem} form{display:flex;flex-direction:column;gap:1rem;margin:1rem 0} label{font-weight:600;display:block}
input[type=text],input[type=number],select{font:inherit;font-size:1.2rem;width:100%;min-height:54px;padding:.5rem .9rem;border:1.5px solid var(--soft);border-radius:12px;
background:var(--card);color:var(--ink)} .check{display:flex;gap:.8rem;align-items:center;min-height:54px} .check input{width:28px;height:28px}
.choices{display:flex;flex-direction:column;gap:.7rem;margin-top:1rem} .choices a{display:flex;align-items:center;justify-content:center;min-height:58px;font-size:1.1rem;font-weight:600;text-align:center;text-decoration:none} .button{font-size:1.2rem;min-height:62px;width:100%}
.back a{display:inline-flex;align-items:center;min-height:44px}"""
THEME = 'try{const t=localStorage.getItem("slabbook.theme")||(matchMedia("(prefers-color-scheme: dark)").matches?"dark":"light");document.documentElement.setAttribute("data-mantine-color-scheme",t)}catch(e){}'


def page(title: str, body: str, back: Back, refusal: str = "", status: int = 200) -> HTMLResponse:
    """A whole page with one form. A browser must say where a form comes from, so this page lets it tell its own house."""
    told = tag("p", refusal, class_="refusal", role="alert") if refusal else ""
    way = tag("p", tag("a", back[1], href=back[0]), class_="back")
    return HTMLResponse(
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{escape(title)}</title>'
        f'<script>{THEME}</script><link rel="stylesheet" href="/assets/slabbook.css"><style>{STYLE}</style></head><body><main><h1>{escape(title)}</h1>{told}{body}{way}'
        '</main></body></html>',
        status, headers={"Cache-Control": "no-store", "Referrer-Policy": "same-origin"},
    )  # fmt: skip


def text(name: str, label: str, value: str = "", kind: str = "text", required: bool = False) -> Html:
    """A field to type into."""
    least = "0" if kind == "number" else None
    return tag("div", tag("label", label, for_=name), tag("input", id=name, name=name, type=kind, value=value, required=required, autocomplete="off", min=least))  # fmt: skip


def check(name: str, label: str, on: bool) -> Html:
    """Yes or no."""
    return tag("label", tag("input", type="checkbox", name=name, value="yes", checked=on), label, class_="check")


def choose(name: str, label: str, options: list[tuple[str, str]], value: str) -> Html:
    """One of a list of (value, words)."""
    shown = [tag("option", words, value=v, selected=v == value) for v, words in options]
    return tag("div", tag("label", label, for_=name), tag("select", shown, id=name, name=name))


def by(ledger: Ledger, value: str) -> Html:
    """Who enters it."""
    return choose("by", "Who", [("", "not said"), *[(w.id, w.id) for w in ledger.book().all(e.Worker)]], value)


async def serve(
    request: Request, form: Callable[[Ledger, Given], tuple[str, str]], act: Callable[[Ledger, Given], str], back: Back
) -> Response:
    """Show a form, or do what it says and go on. `form`: (title, body). `act`: the address to go to; what it refuses is told above the form."""
    ledger: Ledger = request.app.state.ledger
    given = dict(request.query_params)
    refusal = ""
    try:
        if request.method == "POST":
            origin, host = request.headers.get("origin"), request.headers.get("host", "")
            if origin and urlsplit(origin).netloc != host:
                return page("Not from here", "", back, f"A page of {origin} may not write here.", 403)
            given |= dict(parse_qsl((await request.body()).decode("utf-8", "replace"), keep_blank_values=True))
            try:
                return RedirectResponse(await run_in_threadpool(act, ledger, given), 303)
            except SlabbookError as error:
                refusal = for_page(error.message)
        title, body = await run_in_threadpool(form, ledger, given)
    except SlabbookError as error:
        return page("This form cannot be opened", "", back, for_page(error.message), 404)
    return page(title, body, back, refusal, 422 if refusal else 200)
