"""Shapes of requests and answers, checked by pydantic at the web edge and described in the OpenAPI document."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

Word = Annotated[str, Field(max_length=64, pattern=r"^[\x21-\x7e]*$")]


class CommandIn(BaseModel):
    """Something to record. `data` holds the command's fields in plain words, figures as "27.5 lb" or {"value", "unit"}."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(max_length=40, examples=["receive"])
    data: dict[str, Any] = Field(
        examples=[{"material": "SUGAR", "mass": {"value": "25", "unit": "kg"}, "supplier": "MILL"}]
    )
    command_id: Word = Field(
        "", description="Made by the client, so that a repeat after a lost answer records nothing twice."
    )
    actor: Word = Field("", description="Initials of who records.")
    occurred_at: datetime | None = Field(
        None, description="When it happened (with a zone), where that was not just now."
    )


class OutcomeOut(BaseModel):
    """What came of a command. Positions are 0 when nothing was left to do."""

    first: int
    last: int
    batch: str
    lots: list[str]
    flags: list[str]
    also_amended: list[int]
    repeated: bool


class Head(BaseModel):
    """Where the ledger stands."""

    position: int
    recorded_at: str
    today: str
    now: str


class Checked(BaseModel):
    """Whether a command can be read, what was understood of each figure, and every problem with its field."""

    ok: bool
    reads: dict[str, str]
    problems: list[dict[str, str]]


class Rows(BaseModel):
    """A page of things. `next` is the position to give as `after` for the following page, null on the last."""

    as_of: int
    items: list[dict[str, Any]]
    next: int | None = None


class Problem(BaseModel):
    """RFC 9457 problem details. `code` is permanent; further members are the facts behind `detail`."""

    model_config = ConfigDict(extra="allow")

    type: str
    title: str
    status: int
    detail: str
    code: str
