"""Whole packs that add up. Checked against plain sums; invented figures, no source."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from ledger.analytics.whole_packs import whole_packs

FLAVOURS = ["lime", "lime", "rose", "rose", "clove"]
CHANNELS = ["shop", "post", "shop", "post", "shop"]

cells = arrays(
    np.float64, st.tuples(st.just(5), st.integers(1, 30)), elements=st.one_of(st.just(0.0), st.floats(0.01, 80))
)


@settings(max_examples=60, deadline=None)
@given(cells)
def test_every_cell_is_rounded_up_or_down_and_nothing_stays_nothing(packs: np.ndarray):
    whole = whole_packs(packs, (FLAVOURS, CHANNELS))
    assert (np.abs(whole - packs) < 1 + 1e-6).all() and (whole[packs == 0] == 0).all() and (whole >= 0).all()


@settings(max_examples=60, deadline=None)
@given(cells)
def test_totals_of_the_shop_are_never_off_by_a_pack_and_groups_by_few(packs: np.ndarray):
    whole = whole_packs(packs, (FLAVOURS, CHANNELS))
    so_far = np.cumsum(packs.sum(axis=0)) - np.cumsum(whole.sum(axis=0))
    if (packs > 0).all():
        assert (np.abs(so_far) <= 0.5 + 1e-6).all(), "from the first week through any week"
    for names in (FLAVOURS, CHANNELS):
        for name in set(names):
            mine = np.array(names) == name
            assert abs(packs[mine].sum() - whole[mine].sum()) < 3


@settings(max_examples=60, deadline=None)
@given(cells, st.integers(0, 4), st.integers(1, 400))
def test_what_a_person_set_is_met_to_the_pack(packs: np.ndarray, row: int, said: int):
    mask = np.zeros(packs.shape, dtype=bool)
    mask[row, : max(1, packs.shape[1] // 2)] = True
    if packs[mask].sum() == 0:
        return
    packs[mask] *= said / packs[mask].sum()
    other = np.zeros(packs.shape, dtype=bool)
    other[(row + 1) % 5] = True
    whole = whole_packs(packs, (FLAVOURS, CHANNELS), [other, mask])
    assert whole[mask].sum() == said
    assert whole[other].sum() == round(packs[other].sum())


def test_small_rows_are_not_rounded_away_together():
    """Twenty weeks of 0.3 packs are six packs, not none: rounding each by itself would say 0."""
    whole = whole_packs(np.full((5, 20), 0.3), (FLAVOURS, CHANNELS))
    assert whole.sum() == 30 and set(whole.sum(axis=1)) <= {5, 6, 7}
