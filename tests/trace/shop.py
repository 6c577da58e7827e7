"""An invented shop for the recall tests: two cooks, a re-boil, three packed lots, two customers. Figures worked by
hand."""

from __future__ import annotations

from datetime import UTC, datetime

from ledger.trace.graph import Edge, Leaf, Lot, LotGraph
from ledger.trace.recall import Held, Party, RecallCase, Told

KG = 1_000_000
T0 = datetime(2026, 5, 2, 8, 30, tzinfo=UTC)


def at(minutes: int) -> datetime:
    return datetime(2026, 5, 2, 8 + (30 + minutes) // 60, (30 + minutes) % 60, tzinfo=UTC)


LOTS = [
    Lot(
        "S-1",
        "material",
        "sugar",
        made_mg=25 * KG,
        on_hand_mg=11 * KG,
        day="2026-04-01",
        supplier="SUP-1",
        supplier_lot="Z/77",
    ),
    Lot("C-1", "material", "red colour", made_mg=KG, on_hand_mg=980_000, day="2026-04-02", supplier="SUP-2"),
    Lot("W-1", "mass", "white mass", made_mg=7 * KG, on_hand_mg=0, day="2026-04-12", place="kettle"),
    Lot("R-1", "mass", "red mass", made_mg=3 * KG, on_hand_mg=0, day="2026-04-12", place="kettle"),
    Lot("X-1", "reboil", "ends", made_mg=KG, on_hand_mg=200_000, day="2026-04-12", place="table"),
    Lot("J-1", "packs", "heart jars 120 g", made_packs=75, on_hand_packs=49, day="2026-04-12", place="shelf"),
    Lot("W-2", "mass", "second cook", made_mg=4 * KG, on_hand_mg=0, day="2026-04-13", place="kettle"),
    Lot("J-2", "packs", "plain jars 120 g", made_packs=40, on_hand_packs=28, day="2026-04-13", place="shelf"),
    Lot("P-9", "mass", "plain mass of the same day", made_mg=2 * KG, day="2026-04-12", place="kettle"),
]
EDGES = [
    Edge("S-1", "W-1", 8 * KG, "cook", "B1", "2026-04-12", "W2", event="e1"),
    Edge("S-1", "R-1", 2_980_000, "cook", "B2", "2026-04-12", "W2", event="e2"),
    Edge("C-1", "R-1", 20_000, "cook", "B2", "2026-04-12", "W2", event="e2"),
    Edge("W-1", "J-1", 6_500_000, "pack", "B1", "2026-04-12", "W3", event="e3"),
    Edge("R-1", "J-1", 2_500_000, "pack", "B1", "2026-04-12", "W3", event="e3"),
    Edge("W-1", "X-1", 500_000, "cut", "B1", "2026-04-12", "W3", event="e4"),
    Edge("R-1", "X-1", 500_000, "cut", "B1", "2026-04-12", "W3", event="e4"),
    Edge("X-1", "W-2", 800_000, "cook", "B3", "2026-04-13", "W2", event="e5"),
    Edge("S-1", "W-2", 3_000_000, "cook", "B3", "2026-04-13", "W2", event="e5"),
    Edge("W-2", "J-2", 4_000_000, "pack", "B3", "2026-04-13", "W3", event="e6"),
]
LEAVES = [
    Leaf("J-1", "delivery", "2026-04-14", packs=24, party="CUS-1", document="INV-1"),
    Leaf("J-1", "counter", "2026-04-15", packs=2),
    Leaf("J-2", "delivery", "2026-04-16", packs=10, party="CUS-2", document="INV-2"),
    Leaf("J-2", "return", "2026-04-20", packs=1, party="CUS-2"),
    Leaf("J-2", "sample", "2026-04-13", packs=1),
]
PARTIES = {
    "SUP-1": Party("SUP-1", "Cane Supplier", "1 Mill Lane, Anytown", "555 0100"),
    "SUP-2": Party("SUP-2", "Colour Supplier", "2 Mill Lane, Anytown", "555 0101"),
    "CUS-1": Party("CUS-1", "Corner Shop", "3 High Street, Anytown", "555 0102"),
    "CUS-2": Party("CUS-2", "=HYPERLINK Gifts", "4 Pier Road, Anytown", "555 0103"),
}
CASE = RecallCase("RC-1", "C-1", "supplier's notice: wrong colour delivered", T0, "W1", drill=True)
CLOCK = (("lots held", at(6)), ("all customers called", at(50)), ("closed", at(85)))
HELD = (Held("J-1", 49, "shelf", at(6), "W3"), Held("J-2", 20, "shelf", at(9), "W3"))
TOLD = (Told("CUS-1", at(20), by="W1", answered_at=at(40), still_there=15, set_aside=15),)


def graph() -> LotGraph:
    return LotGraph.build(LOTS, EDGES, LEAVES)
