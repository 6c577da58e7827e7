"""The notice to customers: what, which lots, stop, what to do, whom to call. Plain words that can be read out or sent.

Content after 21 CFR 7.49 (recall communications): product, size, lot and code exactly; reason; stop use at once; tell
your own customers; what to do with the goods; how to answer. Agree the text with the local food authority before it
goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.errors import BadInput


@dataclass(frozen=True, slots=True)
class NoticeGoods:
    """One finished lot of a notice: what it is called, size of pack, lot mark as printed, best-before as printed."""

    name: str
    size: str
    lot: str
    best_before: str = ""


def recall_notice(
    goods: Sequence[NoticeGoods], *, reason: str, shop: str, phone: str, drill: bool = False, instead: str = ""
) -> str:
    """The notice, in paragraphs. ``instead`` says what to do with the goods (default: keep apart, do not eat, we
    collect).

    Raises:
        BadInput: no goods, no reason or no telephone number: a notice without them helps nobody.
    """
    missing = [
        word for word, value in (("goods", goods), ("a reason", reason), ("a telephone number", phone)) if not value
    ]
    if missing:
        raise BadInput(f"A notice needs {' and '.join(missing)}.", missing=missing)
    lines = [
        f"- {g.name}, {g.size}, lot L {g.lot}" + (f", best before {g.best_before}" if g.best_before else "")
        for g in goods
    ]
    todo = (
        instead
        or "Set every pack of these lots apart, mark it, and keep it until we collect it. We replace or refund it."
    )
    title = "DRILL, NOT A REAL RECALL" if drill else "FOOD RECALL: URGENT"
    return "\n\n".join(
        [
            title,
            f"{shop} recalls these goods:",
            "\n".join(lines),
            f"Why: {reason}.",
            "Stop selling and using them at once. Goods of other lots are not affected.",
            todo,
            "If you passed any on to other shops, tell them today with this notice.",
            f"Please call {phone} today and say how many packs you have and how many you sold, even if you have none.",
        ]
    )
