"""What every route needs of a request: the ledger, and the position as a version of the answer (ETag)."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import Depends, Request, Response
from pydantic import AfterValidator
from starlette.exceptions import HTTPException

from ledger.application.ledger import Ledger
from ledger.domain.books.entries import Site
from ledger.domain.codes import in_capitals


def ledger_of(request: Request) -> Ledger:
    """The ledger this app was built over."""
    ledger: Ledger = request.app.state.ledger
    return ledger


TheLedger = Annotated[Ledger, Depends(ledger_of)]


class AsAsked:
    """Where the ledger stood when the question came, and the shop's words for figures."""

    def __init__(self, position: int, site: Site, today: str) -> None:
        self.position, self.site, self.today = position, site, today


def as_asked(request: Request, response: Response, ledger: TheLedger) -> AsAsked:
    """Sets the ETag from position and day; answers 304 when the client has that version already (RFC 9110, 13.1.2)."""
    position, today = ledger.queries.as_of().position, ledger.today()
    tag = f'"{position}.{today}"'
    given = [x.strip().removeprefix("W/") for x in request.headers.get("if-none-match", "").split(",")]
    headers = {"ETag": tag, "Cache-Control": "no-cache", "X-Ledger-Position": str(position)}
    if tag in given:
        raise HTTPException(304, headers=headers)
    response.headers.update(headers)
    return AsAsked(position, ledger.book().site(), today)


InCapitals = Annotated[str, AfterValidator(in_capitals)]
"""The code of a batch, a lot or a recall: `26045a` means 26045A."""
Asked = Annotated[AsAsked, Depends(as_asked)]
Plain = dict[str, Any]
