"""The invented shop's tablet: a correction that later steps stand in the way of is let be; anything else refused is a fault of the seeds."""

from __future__ import annotations

import random
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from ledger.domain.batch import commands as bc
from ledger.domain.lots.commands import ReceiveLot
from ledger.domain.parts import Take
from ledger.errors import NotEnough
from seeds.shop.recorder import Recorder
from tests.support.given_when_then import DAY, KG, cook
from tests.support.histories import opening

ZONE = ZoneInfo("Europe/Berlin")
NOON = datetime(2026, 12, 1, 12, tzinfo=ZONE)


def recorder(folder: Path) -> Recorder:
    made = Recorder(f"sqlite:///{folder / 'shop.db'}", random.Random(1), ZONE, NOON)
    for number, command in enumerate(opening()):
        made.tell(command, "AB", NOON, tag=f"open/{number}")
    made.tell(bc.OpenBatch(day=DAY, flavour="LEMON", design="STAR"), "AB", NOON)
    made.tell(cook(), "AB", NOON, tag="cook")
    made.flush()
    return made


def test_a_correction_that_a_cook_stands_in_the_way_of_is_let_be_and_the_rest_is_kept(tmp_path: Path) -> None:
    tablet = recorder(tmp_path)
    receipt = next(t for t, o in tablet.orders.items() if isinstance(o.command, ReceiveLot))
    too_little = ReceiveLot(day=DAY, material="SUGAR", mass_mg=1 * KG, supplier="MILL", lot="SUG-1", cost=18_000)
    tablet.tell(
        bc.Amend(day=DAY, origin=tablet.outcomes[receipt].first, command=too_little, reason="misread"), "AB", NOON
    )
    tablet.tell(
        bc.Pull(
            day=DAY,
            batch=tablet.outcomes["cook"].batch,
            takes=(Take(lot=f"{tablet.outcomes['cook'].batch}-C2", basis="all"),),
        ),
        "AB",
        NOON,
        tag="pull",
    )
    before = tablet.ledger.queries.as_of().position
    tablet.flush()
    assert tablet.ledger.queries.as_of().position == before + 1
    assert tablet.outcomes["pull"].first == before + 1


def test_anything_else_that_is_refused_stops_the_seeds(tmp_path: Path) -> None:
    tablet = recorder(tmp_path)
    tablet.tell(cook(takes=(Take(lot="SUG-1", mass_mg=9_999 * KG),)), "AB", NOON)
    with pytest.raises(NotEnough):
        tablet.flush()
