"""`slabbook receive, open, cook, pull, blend, build, roll, cut, pack, close, work, sell, ship, count ...`: recording from a terminal."""

from __future__ import annotations

import json
from typing import Any

import click

from ledger.domain.restate import restate, set_field
from ledger.errors import BadInput
from ledger.interfaces.cli.context import Shop, pairs, pass_shop

STEP_OPTIONS = (
    click.option("--in", "takes", multiple=True, metavar="LOT[=AMOUNT][@PORTION]",
                 help="What went in: a lot with its mass; without an amount, all of it. Repeat for more."),
    click.option("--out", "gives", multiple=True, metavar="[PORTION=]MASS", help="What came out, weighed. Repeat for more portions."),
    click.option("--reboil", multiple=True, metavar="MASS", help="Ends kept for a later cook, weighed."),
    click.option("--lost", "losses", multiple=True, metavar="CAUSE=MASS", help="Scrap by cause. Repeat for more."),
    click.option("--work", "hands", multiple=True, metavar="INITIALS=TIME", help="Who worked how long. Repeat for more."),
    click.option("--at", "station", default="", help="Station: which kettle, slab, puller..."),
    click.option("--started", default="", help="When it began, ISO 8601."),
    click.option("--ended", default="", help="When it ended, ISO 8601."),
)  # fmt: skip
COMMON = (
    click.option("--day", default="", help="Day it happened, ISO 8601 (today if left out)."),
    click.option("--note", default="", help="Anything worth keeping."),
    click.option("--command-id", default="", help="Your own id: sent twice, it is recorded once."),
)


def with_options(*groups: Any) -> Any:
    """Several groups of options on one command."""

    def decorate(function: Any) -> Any:
        for group in reversed(groups):
            for option in reversed(group):
                function = option(function)
        return function

    return decorate


def step_data(takes: tuple[str, ...], gives: tuple[str, ...], reboil: tuple[str, ...], losses: tuple[str, ...], hands: tuple[str, ...],
              **rest: Any) -> dict[str, Any]:  # fmt: skip
    """The options of a step as command input."""
    data: dict[str, Any] = {k: v for k, v in rest.items() if v not in ("", None, 0)}
    data["takes"] = [_take(x) for x in takes]
    data["gives"] = [_give(x) for x in gives] + [{"kind": "reboil", "mass": x} for x in reboil]
    data["losses"] = [{"cause": c, "mass": m} for c, m in pairs(losses, "CAUSE=MASS")]
    data["work"] = [{"worker": w, "time": t} for w, t in pairs(hands, "INITIALS=TIME")]
    return data


def _take(text: str) -> dict[str, Any]:
    body, _, portion = text.partition("@")
    lot, _, amount = body.partition("=")
    taken: dict[str, Any] = {"lot": lot.strip(), "portion": portion.strip()}
    if amount.strip():
        taken["mass"] = amount.strip()
    return taken


def _give(text: str) -> dict[str, Any]:
    portion, equals, amount = text.rpartition("=")
    return {"mass": amount.strip(), "portion": portion.strip()} if equals else {"mass": text.strip()}


@click.command()
@click.argument("material")
@click.argument("mass")
@click.option("--supplier", required=True, help="Who it came from.")
@click.option("--supplier-lot", default="", help="The supplier's own lot.")
@click.option("--best-before", default="", help="ISO 8601 day.")
@click.option("--cost", default="", help="What all of it cost.")
@click.option("--lot", default="", help="Our own lot code (the next one if left out).")
@click.option("--document", default="", help="Delivery note.")
@click.option("--carrier", default="", help="Who brought it.")
@click.option("--gtin", default="", help="GTIN on the goods.")
@with_options(COMMON)
@pass_shop
def receive(shop: Shop, command_id: str, **data: Any) -> None:
    """Goods came in: slabbook receive SUGAR "25 kg" --supplier ..."""
    shop.record("receive", {k: v for k, v in data.items() if v}, command_id)


@click.command("open")
@click.argument("flavour")
@click.option("--design", default="", help="What the picture shows (the flavour's own if left out).")
@click.option("--batch", default="", help="Batch code (the day's next if left out).")
@click.option("--recipe", default="", help="Recipe id (the flavour's own if left out).")
@with_options(COMMON)
@pass_shop
def open_(shop: Shop, command_id: str, **data: Any) -> None:
    """Open a batch of a flavour."""
    shop.record("open-batch", {k: v for k, v in data.items() if v}, command_id)


@click.command()
@click.argument("batch")
@click.option("--water", default="", help="Mains water that went in, as mass or volume of water, e.g. `3 kg`.")
@click.option("--end", "end_temperature", default="", help="End temperature, e.g. `310 F`.")
@with_options(STEP_OPTIONS, COMMON)
@pass_shop
def cook(shop: Shop, command_id: str, **data: Any) -> None:
    """Record a cook. Molten sugar burns deep: gloves, sleeves and shoes on; cold running water ready."""
    shop.record("cook", step_data(**data), command_id)


def _plain_step(name: str, told: str) -> click.Command:
    @click.command(name, help=told)
    @click.argument("batch")
    @with_options(STEP_OPTIONS, COMMON)
    @pass_shop
    def command(shop: Shop, command_id: str, **data: Any) -> None:
        shop.record(name, step_data(**data), command_id)

    return command


@click.command()
@click.argument("batch")
@click.option("--pieces", default="", help="Sound pieces counted.")
@click.option("--length", "piece", default="", help="Piece length, e.g. `1/2 in`.")
@with_options(STEP_OPTIONS, COMMON)
@pass_shop
def cut(shop: Shop, command_id: str, pieces: str, gives: tuple[str, ...], **data: Any) -> None:
    """Record cutting: `--out` is the mass of sound pieces, `--pieces` their number."""
    filled = step_data(gives=gives, **data)
    sound = next((g for g in filled["gives"] if g.get("kind") != "reboil"), None)
    if pieces and sound is None:
        sound = {}
        filled["gives"].insert(0, sound)
    if sound is not None and pieces:
        sound["pieces"] = pieces
    shop.record("cut", filled, command_id)


@click.command("pack")
@click.argument("batch")
@click.argument("pack")
@click.argument("packs")
@with_options(STEP_OPTIONS, COMMON)
@pass_shop
def pack_(shop: Shop, command_id: str, **data: Any) -> None:
    """Record packing: slabbook pack 26045A LEMON-JAR 40"""
    filled = step_data(**data)
    shop.record("pack", filled, command_id)


@click.command("close")
@click.argument("batch")
@with_options(COMMON)
@pass_shop
def close(shop: Shop, command_id: str, **data: Any) -> None:
    """Nothing more comes of a batch."""
    shop.record("close-batch", data, command_id)


@click.command()
@click.argument("hands", nargs=-1, required=True, metavar="INITIALS=TIME...")
@click.option("--task", default="other", help="cleaning, weighing, setting up, ...")
@click.option("--batch", default="", help="Batch it belongs to, if any.")
@with_options(COMMON)
@pass_shop
def work(shop: Shop, command_id: str, hands: tuple[str, ...], **data: Any) -> None:
    """Record time that no step holds."""
    people = [{"worker": w, "time": t} for w, t in pairs(hands, "INITIALS=TIME")]
    shop.record("work", {k: v for k, v in data.items() if v} | {"work": people}, command_id)


def _amounts(mass: str, pieces: str, packs: str) -> dict[str, Any]:
    return {k: v for k, v in (("mass", mass), ("pieces", pieces), ("packs", packs)) if v}


AMOUNT = (
    click.option("--mass", default="", help="As mass, e.g. `1.2 kg`."),
    click.option("--pieces", default="", help="As pieces."),
    click.option("--packs", default="", help="As packs."),
)


@click.command("count")
@click.argument("lot")
@with_options(AMOUNT, COMMON)
@pass_shop
def count_(shop: Shop, command_id: str, lot: str, mass: str, pieces: str, packs: str, day: str, note: str) -> None:
    """Stock-take of one lot: what is really there."""
    shop.record("count", {"lot": lot, "day": day, "note": note, **_amounts(mass, pieces, packs)}, command_id)


@click.command()
@click.argument("lot")
@click.option("--for", "purpose", default="tasting", show_default=True, help="What for: tasting, retained, ...")
@with_options(AMOUNT, COMMON)
@pass_shop
def sample(shop: Shop, command_id: str, mass: str, pieces: str, packs: str, **data: Any) -> None:
    """Some was tasted or kept as a sample."""
    shop.record("sample", data | _amounts(mass, pieces, packs), command_id)


@click.command()
@click.argument("lot")
@click.argument("cause")
@with_options(AMOUNT, COMMON)
@pass_shop
def scrap(shop: Shop, command_id: str, mass: str, pieces: str, packs: str, **data: Any) -> None:
    """Throw some of a lot away, or all of it."""
    shop.record("scrap", data | _amounts(mass, pieces, packs), command_id)


@click.command()
@click.argument("lots", nargs=-1, required=True)
@click.option("--reason", required=True, help="Why they are put aside.")
@with_options((COMMON[0], COMMON[2]))
@pass_shop
def hold(shop: Shop, command_id: str, **data: Any) -> None:
    """Put lots aside: nothing may leave them."""
    shop.record("hold", data | {"lots": list(data["lots"])}, command_id)


@click.command()
@click.argument("lots", nargs=-1, required=True)
@click.option("--reason", default="cleared", show_default=True, help="Why they may go again.")
@with_options((COMMON[0], COMMON[2]))
@pass_shop
def release(shop: Shop, command_id: str, **data: Any) -> None:
    """Let held lots go again."""
    shop.record("release", data | {"lots": list(data["lots"])}, command_id)


@click.command()
@click.argument("pack")
@click.argument("packs")
@click.option("--over", "channel", required=True, help="Sales channel.")
@click.option("--lot", default="", help="Which lot (the first to expire if left out).")
@click.option("--amount", default="", help="What was paid for all of them.")
@with_options(COMMON)
@pass_shop
def sell(shop: Shop, command_id: str, **data: Any) -> None:
    """Packs were sold."""
    shop.record("sell", data, command_id)


@click.command()
@click.argument("pack")
@click.argument("packs")
@click.option("--to", "customer", required=True, help="Business customer.")
@click.option("--lot", default="", help="Which lot (the first to expire if left out).")
@click.option("--amount", default="", help="What is charged for all of them.")
@click.option("--document", default="", help="Delivery note.")
@click.option("--carrier", default="", help="Who takes it.")
@with_options(COMMON)
@pass_shop
def ship(shop: Shop, command_id: str, **data: Any) -> None:
    """Packs went to a business customer."""
    shop.record("ship", data, command_id)


@click.command("return")
@click.argument("lot")
@click.argument("packs")
@click.option("--from", "customer", default="", help="Business customer they came from.")
@click.option("--over", "channel", default="", help="Sales channel they came back through.")
@click.option("--amount", default="", help="What was paid back for all of them.")
@click.option("--document", default="", help="Note that came with them.")
@with_options(COMMON)
@pass_shop
def return_(shop: Shop, command_id: str, **data: Any) -> None:
    """Packs came back."""
    shop.record("return", data, command_id)


@click.command("record")
@click.argument("name")
@click.argument("text")
@click.option("--command-id", default="", help="Your own id: sent twice, it is recorded once.")
@pass_shop
def record_json(shop: Shop, name: str, text: str, command_id: str) -> None:
    """Record any command given as JSON: slabbook record cook '{"batch": ...}'"""
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        raise BadInput(f"The JSON cannot be read at line {error.lineno}, column {error.colno}: {error.msg}.") from error
    shop.record(name, data, command_id)


@click.command()
@click.argument("entry", type=int)
@click.option("--reason", required=True, help="Why: it is kept beside the correction.")
@click.option("--set", "sets", multiple=True, required=True, metavar="FIELD=VALUE",
              help="The figure that was wrong, e.g. `end_temperature=309 F`, `gives.1.mass=6 kg`, `work.0.time=40 min`.")  # fmt: skip
@click.option("--command-id", default="", help="Your own id: sent twice, it is recorded once.")
@pass_shop
def amend(shop: Shop, entry: int, reason: str, sets: tuple[str, ...], command_id: str) -> None:
    """Say what an earlier entry should have said; everything that follows from it is worked out again."""
    from ledger.application.log import believed_event

    data = restate(believed_event(shop.ledger, entry))
    for field, value in pairs(sets, "FIELD=VALUE"):
        set_field(data, field, value)
    shop.record("amend", {"origin": str(entry), "command": data, "reason": reason}, command_id)


@click.command()
@click.argument("entry", type=int)
@click.option("--reason", required=True, help="Why: it is kept beside the correction.")
@click.option("--command-id", default="", help="Your own id: sent twice, it is recorded once.")
@pass_shop
def void(shop: Shop, entry: int, reason: str, command_id: str) -> None:
    """Say that an earlier entry never happened."""
    shop.record("void", {"origin": str(entry), "reason": reason}, command_id)


@click.command("answer")
@click.argument("entry", type=int)
@click.argument("code")
@click.argument("answer")
@pass_shop
def answer(shop: Shop, entry: int, code: str, answer: str) -> None:
    """Answer a flag: slabbook answer ENTRY CODE "what it was"."""
    shop.record("answer-flag", {"origin": str(entry), "code": code, "answer": answer})


COMMANDS: tuple[click.Command, ...] = (
    receive, open_, cook,
    _plain_step("pull", "Record pulling a portion white. Without --in, the batch's only portion."),
    _plain_step("blend", "Record blending portions into a shade."),
    _plain_step("build", "Record building the log. Without --in, every portion of the batch."),
    _plain_step("roll", "Record rolling the log down to rods."),
    cut, pack_, close, work, count_, sample, scrap, hold, release, sell, ship, return_, record_json, amend, void, answer,
)  # fmt: skip
