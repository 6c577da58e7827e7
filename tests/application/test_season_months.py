"""Monthly totals of a file, forecast as a person would: checked against published series; the pool's own checks are in tests/forecast."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from ledger.application.season_months import months_report, read_months
from ledger.errors import BadInput
from ledger.forecast.fallback import forecast_months
from ledger.forecast.monthly_bands import GUESS, monthly_bands
from ledger.interfaces.cli.main import main
from tests.forecast.open_series import AUSTOURISTS, WINEIND


def wine(years: int = 8) -> str:
    rows = [f"{1980 + i // 12}-{i % 12 + 1:02d},{int(v)}" for i, v in enumerate(WINEIND[: 12 * years])]
    return "month,packs\n" + "\n".join(rows) + "\n"


def test_a_file_of_months_is_forecast_by_the_pool_of_methods_and_says_so():
    """Series: wine sales, Australian Bureau of Statistics (R package forecast, data set wineind)."""
    report = months_report(wine(), 12)
    frame = report.tables["months"].frame
    assert frame["month"].tolist() == [f"1988-{m:02d}" for m in range(1, 13)]
    direct = forecast_months(WINEIND[:96].astype(int), 12).mean
    assert np.abs(frame["mean"].to_numpy() - direct).max() <= 1 and frame["mean"].sum() == round(direct.sum())
    why = report.tables["why"].frame.iloc[0]
    assert why["methods"] >= 4 and "median of" in why["why"] and "Theta" in why["why"]
    came = WINEIND[96:108]
    assert ((frame["q10"] <= came) & (came <= frame["q90"])).mean() >= 0.5
    assert (frame["q10"] <= frame["mean"]).all() and (frame["mean"] <= frame["q90"]).all() and not report.notes


def test_quarters_are_read_as_quarters():
    """Series: tourist nights in Australia, quarterly 1999-2015 (R package fpp2, data set austourists)."""
    rows = [f"{1999 + i // 4}-Q{i % 4 + 1};{round(float(v) * 1000)}" for i, v in enumerate(AUSTOURISTS)]
    report = months_report("quarter;packs\n" + "\n".join(rows), 4)
    frame = report.tables["months"].frame
    assert frame["quarter"].tolist() == ["2016-Q1", "2016-Q2", "2016-Q3", "2016-Q4"]
    assert frame["mean"].idxmax() == 0, "the first quarter is the high season"


def test_flavours_and_channels_are_series_of_their_own_and_add_up():
    rows = [
        f"{y}-{m:02d},{f},shop,{k * (20 + 3 * m)}"
        for f, k in (("lemon", 1), ("clove", 2))
        for y in (2024, 2025)
        for m in range(1, 13)
    ]
    report = months_report("month,flavour,channel,packs\n" + "\n".join(rows), 6)
    frame, together = report.tables["months"].frame, report.tables["together"].frame
    assert set(frame["series"]) == {"lemon, shop", "clove, shop"}
    assert frame.groupby("month")["mean"].sum().tolist() == together["mean"].tolist()
    assert any("guess" in note for note in report.notes), "two years tell nothing of how wrong such forecasts are"
    assert frame["q90"].iloc[0] == pytest.approx(frame["mean"].iloc[0] * GUESS[1], rel=0.1)


def test_a_young_series_is_named_and_the_others_forecast():
    rows = [f"{y}-{m:02d},lemon,{20 + m}" for y in (2024, 2025) for m in range(1, 13)] + [
        f"2025-{m:02d},rose,9" for m in range(6, 13)
    ]
    report = months_report("month,flavour,packs\n" + "\n".join(rows), 3)
    assert any(note.startswith("rose has 7 months") for note in report.notes)
    with pytest.raises(BadInput, match="two whole years"):
        months_report("month,packs\n2025-01,5\n2025-02,6\n", 3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "month \\(or quarter\\) and packs"),
        ("day,packs\n2024-01-01,4\n", "month \\(or quarter\\)"),
        ("month,packs\n", "no rows"),
        ("month,packs\n2024-13,4\n", "line 2: `2024-13` is no month; write it as 2024-03"),
        ("month,packs\n2024-01,-4\n", "line 2: `-4` is no number of packs"),
        ("month,packs\n2024-01,4.5\n", "whole number"),
        ("month,packs\n2024-01,4\n2024-01,5\n", "line 3: 2024-01 of all together is said twice"),
        ("month,packs\n2024-01,4\n2024-03,5\n", "2024-02 left out; write 0"),
        ("quarter,packs\n2024-Q5,4\n", "no quarter"),
    ],
)
def test_a_file_that_cannot_be_read_says_which_line_and_why(text: str, words: str):
    with pytest.raises(BadInput, match=words):
        read_months(text)


def test_bands_are_the_tenth_and_ninetieth_percent_of_earlier_errors_and_never_narrow():
    """By hand: 99 ratios 0.51, 0.52 ... 1.49; with the finite-sample step of split conformal the ends lie just outside the plain 10 and 90 %."""
    ratios = [0.5 + i / 100 for i in range(1, 100)]
    bands, guess = monthly_bands([ratios, [1.0] * 99, [1.0, 1.0]])
    assert not guess and bands[0] == pytest.approx(
        [np.quantile(ratios, 0.1 - 0.1 / 99), np.quantile(ratios, 0.9 + 0.1 / 99)]
    )
    assert (bands[1] == bands[0]).all() and (bands[2] == bands[0]).all()
    assert monthly_bands([[1.0] * 3])[1]


def test_the_command_line_reads_a_file_and_records_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "wine.csv").write_text("\ufeff" + wine(4))
    with pytest.raises(SystemExit) as left:
        main(["season", "months", str(tmp_path / "wine.csv"), "--horizon", "3", "--json"])
    assert left.value.code == 0
    told = json.loads(capsys.readouterr().out)
    assert [row["month"] for row in told["tables"]["months"]["rows"]] == ["1984-01", "1984-02", "1984-03"]
