"""Spells without stock, by hand over made-up days; no source."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from ledger.analytics.run_outs import untold_run_outs

OPEN = lambda _flavour, day: day.isoweekday() != 7  # noqa: E731


def moves(*rows: tuple[str, int]) -> pd.DataFrame:
    return pd.DataFrame([(day, "CLOVE", packs) for day, packs in rows], columns=["day", "flavour", "packs"])


SOLD_OUT = moves(("2026-11-02", 40), ("2026-11-10", -25), ("2026-11-12", -15), ("2026-11-16", 30), ("2026-11-18", -2))


def test_days_after_the_last_pack_until_more_comes_are_a_run_out_nobody_told():
    """Sold out on Thursday the 12th, packed again on Monday the 16th: gone on Friday and Saturday (Sunday is shut)."""
    assert untold_run_outs(SOLD_OUT, "2026-11-24", {}, OPEN, "2026-10-01") == [("CLOVE", "2026-11-13", "2026-11-14")]


@pytest.mark.parametrize(
    ("told", "since", "on_sale"),
    [
        ({"CLOVE": {"2026-11-13", "2026-11-14"}}, "2026-10-01", OPEN),
        ({}, "2026-11-15", OPEN),
        ({}, "2026-10-01", lambda _f, day: day < date(2026, 11, 12)),
    ],
    ids=["told already", "long ago", "out of its season"],
)
def test_what_is_told_or_long_ago_or_out_of_season_is_none(told: dict, since: str, on_sale: object):
    assert untold_run_outs(SOLD_OUT, "2026-11-24", told, on_sale, since) == []  # type: ignore[arg-type]


def test_a_flavour_that_never_came_back_was_dropped_and_one_gone_now_is_told():
    gone = moves(("2026-06-01", 10), ("2026-06-03", -10))
    assert untold_run_outs(gone, "2026-11-24", {}, OPEN, "2026-05-01") == []
    assert untold_run_outs(gone, "2026-06-10", {}, OPEN, "2026-05-01") == [("CLOVE", "2026-06-04", "2026-06-10")]


def test_before_the_first_pack_there_is_nothing_to_run_out_of():
    assert untold_run_outs(moves(("2026-11-20", 10)), "2026-11-24", {}, OPEN, "2026-01-01") == []
