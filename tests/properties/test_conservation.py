"""Whatever is recorded, nothing is lost: every entry balances, no lot goes below zero, and a refused command leaves no trace."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.domain.movement import Movement
from ledger.errors import LedgerDamaged, SlabbookError
from tests.support.given_when_then import Bench
from tests.support.histories import history


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.randoms(use_true_random=False), st.integers(10, 60))
def test_any_history_balances_and_no_lot_goes_below_zero(random, length):
    bench = Bench(stocked=False)
    world = bench.world

    def state():
        moved = {
            p: world.recorded(p).event
            for p, e in world.log.items()
            if isinstance(e.event, Movement) and not world.recorded(p).voided
        }
        return sorted(world.batches), {x.lot: x.kind for x in world.lots.values()}, bench.position, moved

    for command in history(random, length, state):
        before = bench.position
        try:
            events = bench.do(command)
        except LedgerDamaged:
            raise
        except SlabbookError:
            assert bench.position == before
            continue
        for event in events:
            if isinstance(event, Movement):
                bench.balances(event)
    for lot in world.lots.values():
        assert lot.mass_mg >= 0 and lot.pieces >= 0 and lot.packs >= 0, lot
        assert lot.packs or lot.kind != "packs" or lot.mass_mg == 0, lot
    believed = [world.recorded(p) for p, e in world.log.items() if isinstance(e.event, Movement)]
    held = sum(x.mass_mg for x in world.lots.values())
    came = 0
    for record in believed:
        if not record.voided:
            came += sum(g.mass_mg for g in record.event.gives) - sum(t.mass_mg for t in record.event.takes)
    assert held == came
