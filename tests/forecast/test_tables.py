"""Owner's tables into settings, and flavours into designs; figures worked by hand."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from ledger.errors import BadInput
from ledger.forecast import design_shares, settings_from_tables


def test_tables_become_settings() -> None:
    made = settings_from_tables(
        pd.DataFrame({"name": ["christmas", "fair", "fair"], "rule": ["12-25", "2026-07-18", "2027-07-10"]}),
        pd.DataFrame({"flavour": ["holly"], "feast": ["christmas"], "days_before": [56], "days_after": [4]}),
        pd.DataFrame({"flavour": ["new"], "like": ["holly"], "share": [0.5]}),
        harmonics=1,
    )
    assert made.feast("fair").in_year(2027) == date(2027, 7, 10)
    assert made.feast("fair").in_year(2028) is None
    window = made.window_of("holly")
    assert window is not None and (window.days_before, window.days_after) == (56, 4)
    analogue = made.analogue_of("new")
    assert analogue is not None and analogue.share == 0.5 and made.harmonics == 1
    assert [f.name for f in settings_from_tables().feasts] == ["christmas", "easter", "valentine", "halloween"]


def test_a_table_without_its_columns_is_refused_by_name() -> None:
    with pytest.raises(BadInput, match="windows lacks the columns days_after"):
        settings_from_tables(windows=pd.DataFrame({"flavour": ["a"], "feast": ["easter"], "days_before": [9]}))


def test_designs_share_a_flavour_by_its_last_half_year_or_its_last_season() -> None:
    rows = [
        ("2025-W02", "lime", "counter", "fish", 900),  # too old to count
        ("2026-W20", "lime", "counter", "fish", 30),
        ("2026-W21", "lime", "counter", "star", 10),
        ("2026-W40", "lime", "counter", "star", 500),  # not known yet
        ("2025-W50", "holly", "counter", "tree", 60),  # out of season since
        ("2025-W51", "holly", "counter", "bell", 20),
    ]
    sales = pd.DataFrame(rows, columns=["week", "flavour", "channel", "design", "units"])
    shares = design_shares(sales, "2026-W30").set_index(["flavour", "design"])["share"]
    assert shares.to_dict() == {
        ("lime", "fish"): 0.75, ("lime", "star"): 0.25, ("holly", "tree"): 0.75, ("holly", "bell"): 0.25
    }  # fmt: skip
    with pytest.raises(BadInput, match="no column design"):
        design_shares(sales.drop(columns="design"), "2026-W30")
