"""Serves forms as pieces of HTML. The tablet's script opens them in a dialog outside the page, so that no update can disturb typing."""

from __future__ import annotations

from html import escape

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from dashboard.components.ways import for_page
from dashboard.forms.context import Context, who
from dashboard.forms.markup import BLOCKED, Html, field, hidden, join, tag
from dashboard.forms.others import OTHER_FORMS
from dashboard.forms.steps import STEP_FORMS, step_form
from ledger.application.ledger import Ledger
from ledger.application.log import believed_event
from ledger.errors import SlabbookError, UnknownThing

router = APIRouter(include_in_schema=False)
NAMED = {"site": "the shop", "material": "a material", "flavour": "a flavour", "design": "a design", "recipe": "a recipe", "pack": "a jar or bag", "worker": "a pair of hands",
         "station": "a station", "feast": "a feast", "partner": "a supplier or customer", "channel": "a place where you sell", "planning": "what a plan assumes"}  # fmt: skip
"""What an entry of each kind is called in the title of its form."""
_COMMAND_OF_STEP = {"receive": "receive", "other": "work", "close": "close-batch"}


def command_of(event: object) -> str:
    """The command that records such an entry."""
    step = getattr(event, "step", "open-batch")
    return _COMMAND_OF_STEP.get(step, step)


def form(ledger: Ledger, name: str, asked: dict[str, str]) -> Html:
    """One whole form. `asked`: `batch`, `lot`, or `origin` (the entry to amend). Raises the errors of `ledger.errors`."""
    book = ledger.book()
    ctx = Context(ledger, book, book.site(), ledger.today(), lot=asked.get("lot", ""), asked=asked)
    ctx.origin = int(asked["origin"]) if asked.get("origin", "").isdigit() else 0
    amending = ctx.origin and name != "void"
    if amending:
        ctx.old = believed_event(ledger, ctx.origin)
        name = command_of(ctx.old)
    code = asked.get("batch", "") or getattr(ctx.old, "batch", "")
    if code and name != "open-batch":
        found = ledger.queries.batches(names=[code])
        if found.empty:
            raise UnknownThing(f"There is no batch `{code}` in this ledger. Open it first.", kind="batch", id=code)
        ctx.batch = dict(found.iloc[0])
        ctx.lots = ledger.queries.lots(batch=code)
    if name in STEP_FORMS:
        title, body = STEP_FORMS[name][0], step_form(name, ctx)
    elif name in OTHER_FORMS:
        title, body = OTHER_FORMS[name][0], OTHER_FORMS[name][1](ctx)
    else:
        raise UnknownThing(
            f"There is no form `{name}`; known are {', '.join([*STEP_FORMS, *OTHER_FORMS])}.", kind="form", id=name
        )
    if name == "define":
        kind = NAMED.get(asked.get("kind", ""), "an entry")
        title = f"{kind[0].upper()}{kind[1:]} anew" if asked.get("id") else f"Enter {kind}"
    about = code or ctx.lot or asked.get("id", "")
    if amending:
        title = f"Amend: {title.lower()}"
        why = field("amend.reason", "Why it is amended", mode="text", required=True)
        body = join([body, hidden("amend.origin", str(ctx.origin)), why, who(ctx, "Who amends it")])
    elif name not in STEP_FORMS and name != "work" and BLOCKED not in body:
        body = join([body, who(ctx, "Who enters it")])
    heading = f"{title}, {about}" if about else title
    record = tag("button", "Record", type="submit", class_="button big") if BLOCKED not in body else None
    buttons = tag("div", record,
                  tag("button", "Not now", type="button", class_="plain", data_close=True), class_="buttons")  # fmt: skip
    return tag("form", tag("h2", heading, id="form-title", tabindex="-1"), tag("p", class_="refusal", role="alert", hidden=True), body, buttons,
               data_command=name, data_key=f"{name}/{about}/{ctx.origin or ''}", data_title=heading, novalidate=True)  # fmt: skip


@router.get("/forms/{name}")
def get_form(name: str, request: Request) -> HTMLResponse:
    """A form, or a message in its place."""
    ledger: Ledger = request.app.state.ledger
    try:
        return HTMLResponse(form(ledger, name, dict(request.query_params)), headers={"Cache-Control": "no-store"})
    except SlabbookError as error:
        message = f'<form><h2 tabindex="-1">This form cannot be opened</h2><p class="caution" role="alert">{escape(for_page(error.message))}</p>'
        return HTMLResponse(
            message + '<button type="button" class="plain" data-close>Close</button></form>',
            404,
            headers={"Cache-Control": "no-store"},
        )
