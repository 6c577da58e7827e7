"""Recording over HTTP: read what was sent, hand it to the ledger, say what came of it."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Annotated, Any

from fastapi import APIRouter, Body, Response
from pydantic import Field

from ledger.application.ledger import Ledger, Order, Outcome
from ledger.domain.books.book import Book
from ledger.domain.decide import COMMANDS
from ledger.errors import SlabbookError
from ledger.interfaces.commands_in import read_command
from ledger.interfaces.web_api.asked import TheLedger
from ledger.interfaces.web_api.problems import BadRequest
from ledger.interfaces.web_api.schemas import Checked, CommandIn, OutcomeOut
from ledger.interfaces.web_api.wire import echo
from ledger.store.times import utc_text

router = APIRouter(tags=["commands"])
MOST_AT_ONCE = 500


def order_of(given: CommandIn, book: Book, today: str) -> Order:
    """One order from one request body. Raises BadInput."""
    when = ""
    if given.occurred_at is not None:
        if given.occurred_at.tzinfo is None:
            raise BadRequest(f"occurred_at {given.occurred_at.isoformat()} has no zone; end it with Z or +01:00.")
        try:
            when = utc_text(given.occurred_at)
        except (OverflowError, ValueError) as error:
            raise BadRequest(f"occurred_at {given.occurred_at.isoformat()} lies outside the calendar.") from error
    return Order(read_command(given.name, given.data, book, today), book.who(given.actor), given.command_id, when)


def out(outcome: Outcome) -> dict[str, Any]:
    """An outcome as a plain object."""
    return asdict(outcome)


def record(ledger: Ledger, given: list[CommandIn]) -> list[Outcome]:
    """Record all or none. Raises the errors of `ledger.errors`, naming which of several it was (`number`)."""
    book, today = ledger.book(), ledger.today()
    orders = []
    for number, one in enumerate(given):
        try:
            orders.append(order_of(one, book, today))
        except SlabbookError as error:
            error.facts.setdefault("number", number)
            raise
    return ledger.do_all(orders)


@router.post(
    "/commands",
    summary="Record one command, or several in one transaction",
    response_model=OutcomeOut | list[OutcomeOut],
)
def post_commands(
    ledger: TheLedger, response: Response,
    given: Annotated[CommandIn | Annotated[list[CommandIn], Field(min_length=1, max_length=MOST_AT_ONCE)], Body()],
) -> Any:  # fmt: skip
    """All of them are recorded or none. A `command_id` that comes again with the same content gets its first outcome back
    (`repeated` is true); with other content the answer is 409 `store.conflict`."""
    many = isinstance(given, list)
    outcomes = record(ledger, given if isinstance(given, list) else [given])
    response.headers["X-Ledger-Position"] = str(max(o.last for o in outcomes))
    return [out(o) for o in outcomes] if many else out(outcomes[0])


@router.post("/commands/check", summary="Read a command without recording it", response_model=Checked)
def check(ledger: TheLedger, given: CommandIn) -> Any:
    """What was understood of every figure, and every problem with the field it stands in. Nothing is recorded and no rule of the
    floor is asked."""
    book = ledger.book()
    try:
        command = order_of(given, book, ledger.today()).command
    except SlabbookError as error:
        found = error.facts.get("problems") or [{"field": "", "message": error.message}]
        return {"ok": False, "reads": {}, "problems": found}
    return {"ok": True, "reads": echo(command, book.site().units), "problems": []}


@router.get("/commands", summary="What can be recorded, with the fields of each")
def known() -> dict[str, dict[str, Any]]:
    """Every command by name: what it means and the names of its fields."""
    return {
        name: {"meaning": (kind.__doc__ or "").strip(), "fields": [f.name for f in fields(kind)]}
        for name, kind in sorted(COMMANDS.items())
    }
