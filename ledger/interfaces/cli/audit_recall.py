"""`slabbook recall start, status, note, close, report, notice`: from the first call to the closing report."""

from __future__ import annotations

from pathlib import Path

import click

from ledger import quantities
from ledger.application import audit_recall as ar
from ledger.domain.books.entries import Channel, Partner
from ledger.interfaces.cli.context import Code, Shop, console, pass_shop, tell
from ledger.interfaces.cli.read import KNOWN
from ledger.trace.recall_progress import sum_in_words

CAUTION = (
    "If people may be harmed, telephone the local food authority first: whom to tell and how fast is decided with them."
)
CODE = click.argument("recall", type=Code(), required=False, default="")


@click.group("recall")
def recall() -> None:
    """A recall or a drill: start, status, note, close, report, notice."""


@recall.command("start")
@click.argument("lot")
@click.option("--reason", required=True, help="Why, in a sentence that customers may read.")
@click.option("--drill", is_flag=True, help="An exercise: every paper says so.")
@pass_shop
def start(shop: Shop, lot: str, reason: str, drill: bool) -> None:
    """Find every lot made with LOT, through blends and re-boil, and hold what is there at once."""
    made = ar.start(shop.ledger, lot, reason, drill=drill, by=shop.by)
    if made.was_open:
        kind = "Drill" if drill else "Recall"
        console().print(
            f"{kind} {made.recall} is open at this lot already; nothing new was started. Go on with it, or end it with `slabbook recall close {made.recall}`.",
            markup=False,
        )
    else:
        tell(made.outcome)
    if not drill:
        console().print(CAUTION, markup=False)
    _status(shop, made.recall)


def _status(shop: Shop, recall: str) -> None:
    worked = ar.work(shop.ledger, recall)
    r, out = worked.recall, console()
    kind = "Drill" if r.case.drill else "Recall"
    out.print(
        f"{kind} {r.case.code}: lot {r.case.lot}, {len(r.affected)} lots affected; {r.score:.2f} % accounted for.",
        markup=False,
    )
    rows = r.accounts[r.accounts["unit"] == r.score_unit]
    words = {"made": "made", "on_hand": "on hand", "still_out": "with customers", "sold": "sold over the counter", "sampled": "sampled",
             "scrapped": "scrapped", "lost": "lost on record", "used": "used in other lots", "unexplained": "unexplained"}  # fmt: skip
    out.print("  " + ", ".join(f"{int(rows[k].sum())} {w}" for k, w in words.items() if int(rows[k].sum()) or k in ("made", "unexplained"))
              + f" ({r.score_unit})", markup=False)  # fmt: skip
    if len(r.counter):
        out.print(
            f"  Counter sales ran from {r.counter['first_day'].min()} to {r.counter['last_day'].max()}.", markup=False
        )
    todo = r.holdings[r.holdings["still_to_hold"] > 0]
    out.print(
        "  What was on hand was held."
        if worked.case.closed
        else "  All stock on hand is held."
        if todo.empty
        else f"  STILL TO HOLD: {', '.join(todo['lot'])}.",
        markup=False,
    )
    stock = sum_in_words(r.progress, r.score_unit)
    if stock:
        out.print(f"  {stock}", markup=False)
    calls = r.to_call
    out.print(f"  Customers to call: {len(calls)}", markup=False)
    for row in calls.to_dict("records"):
        out.print(
            f"    {row['party']}  {row['name']}  {row['phone'] or 'no telephone on record'}  {row['address']}  {row['packs']} packs",
            markup=False,
        )
    for what, at in r.clock:
        out.print(f"  {at:%Y-%m-%d %H:%M} UTC  {what}", markup=False)


@recall.command("status")
@CODE
@pass_shop
def status(shop: Shop, recall: str) -> None:
    """How far a recall is (the open one if none is named)."""
    _status(shop, recall)


@recall.command("list")
@pass_shop
def list_(shop: Shop) -> None:
    """Every recall and drill."""
    for case in ar.recalls(shop.ledger):
        s = case.started
        console().print(
            f"{s.recall}  {s.day}  {'drill' if s.drill else 'recall'}  lot {s.lot}  {'closed' if case.closed else 'OPEN'}  {s.reason}",
            markup=False,
        )


@recall.command("note")
@click.argument("kind", type=click.Choice(ar.NOTE_KINDS))
@click.option("--recall", type=Code(), default="", help="Which (the open one if left out).")
@click.option("--customer", "partner", type=Code(Partner), default="", help="Code of the customer.")
@click.option(
    "--lot",
    type=Code(),
    default="",
    help="Which lot was counted, came back or was destroyed: its stock moves with the note.",
)
@click.option("--packs", type=int, help="How many packs (destroyed: all of them, if left out).")
@click.option("--mass", default="", help="For a lot kept by weight: how much was found or destroyed, such as `2.4 kg`.")
@click.option(
    "--channel", type=Code(Channel), default="", help="Where consumers brought packs back, such as the shop counter."
)
@click.option("--refund", default="", help="Paid back for what came back, such as 28.50.")
@click.option("--text", default="")
@pass_shop
def note(
    shop: Shop,
    recall: str,
    kind: str,
    partner: str,
    lot: str,
    packs: int | None,
    mass: str,
    channel: str,
    refund: str,
    text: str,
) -> None:
    """Write down progress: a customer called or answering, stock pulled off a shelf, brought back, counted, destroyed, a notice printed.

    `returned`, `counted` and `destroyed` post to the ledger: packs come back into their lot, a stock-take, scrap. What came back is held.
    """
    tell(
        ar.note(
            shop.ledger, recall, kind, partner=partner, lot=lot, packs=packs, channel=channel, text=text, by=shop.by,
            mass_mg=quantities.mass(mass) if mass else None,
            amount=quantities.money(refund, shop.ledger.book().site().currency_digits) if refund else 0,
        )
    )  # fmt: skip


@recall.command("close")
@CODE
@click.option("--release", is_flag=True, help="Let the held lots go again (a drill, or a false alarm).")
@pass_shop
def close(shop: Shop, recall: str, release: bool) -> None:
    """End a recall with the figures as they stand."""
    code = ar.the_recall(shop.ledger, recall).started.recall
    tell(ar.close(shop.ledger, code, release=release, by=shop.by))
    _status(shop, code)


@recall.command("report")
@CODE
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--html", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--csv", type=click.Path(dir_okay=False, path_type=Path))
@KNOWN
@pass_shop
def report(shop: Shop, recall: str, pdf: Path | None, html: Path | None, csv: Path | None, known: str | None) -> None:
    """The twelve audit questions answered on one printable report, now or as known then, with the tree root of that entry."""
    from ledger.trace import recall_report

    made = ar.report(shop.ledger, recall, known)
    paper = "letter" if shop.ledger.book().site().paper == "letter" else "A4"
    if pdf is not None:
        pdf.write_bytes(recall_report.to_pdf(made, paper=paper))
    if html is not None:
        html.write_text(recall_report.to_html(made), encoding="utf-8")
    if csv is not None:
        csv.write_text(recall_report.to_csv(made), encoding="utf-8", newline="")
    out = console()
    for file in (pdf, html, csv):
        if file is not None:
            out.print(f"Written to {file}.", markup=False)
    if not (pdf or html or csv):
        out.print(f"{made.title}\n{made.answer}", markup=False)
        for answer in made.answers:
            out.print(f"{answer.number}. {answer.question}\n   {answer.sentence}", markup=False)
        if made.head:
            out.print(f"Ledger of {made.head.size} entries, root {made.head.root}", markup=False)


@recall.command("notice")
@CODE
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path))
@pass_shop
def notice(shop: Shop, recall: str, pdf: Path | None) -> None:
    """The notice to customers, to read out, send or print."""
    text = ar.notice(shop.ledger, recall)
    if pdf is None:
        console().print(text, markup=False)
        return
    from ledger.trace.recall_report import notice_pdf

    pdf.write_bytes(notice_pdf(text))
    console().print(f"Written to {pdf}.", markup=False)
