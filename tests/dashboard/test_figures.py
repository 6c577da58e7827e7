"""Figures are pure: a frame in, a figure out, with a title that says what to do."""

from __future__ import annotations

import pandas as pd
import pytest

from dashboard.figures.control import control
from dashboard.figures.hours import by_step, days
from dashboard.figures.house import AGAIN, GAP, GOOD, SCRAP, SERIES, WATER
from dashboard.figures.losses import causes, waterfall
from dashboard.figures.shelf import cover

FALL = pd.DataFrame(
    [("charged_mg", "charged", 19_000_000, 19_000_000), ("evaporated_mg", "water boiled off", -4_000_000, 15_000_000), ("scrap_mg", "scrap", -360_000, 14_640_000)],
    columns=["flow", "what", "change_mg", "left_mg"],
)  # fmt: skip


def test_the_waterfall_hangs_each_bar_from_what_was_left() -> None:
    figure = waterfall(FALL, 1e6, "kg")
    assert [(b.base[0], b.x[0]) for b in figure.data] == [(0, 19.0), (15.0, 4.0), (14.64, pytest.approx(0.36))]


def test_boiled_off_water_is_never_named_as_the_loss_to_begin_with() -> None:
    assert "scrap" in waterfall(FALL, 1e6, "kg").layout.meta
    assert waterfall(FALL.head(2), 1e6, "kg").layout.meta == "Nothing was lost after the kettle"


def test_reboil_is_not_ranked_among_the_losses() -> None:
    frame = pd.DataFrame(
        [("cut", "ends", 360, 1), ("cut", "kept for re-boil", 900, 0)], columns=["step", "cause", "mass_mg", "rank"]
    )
    assert list(causes(frame, 1, "mg").data[0].y) == ["ends, cut"]


def test_unusual_weeks_are_named_on_the_control_chart() -> None:
    points = pd.DataFrame(
        {
            "week": ["2026-W01", "2026-W02"],
            "value": [0.9, 0.7],
            "center": 0.88,
            "lower": 0.8,
            "upper": 0.96,
            "unusual": [False, True],
            "rules": ["", "beyond"],
        }
    )
    figure = control(points, "Lemon")
    assert "2026-W02" in figure.layout.meta
    assert list(figure.data[-1].text) == ["2026-W02"]
    assert "too few to judge" in control(points.head(1), "Lemon").layout.meta


def test_an_old_unusual_week_is_past_and_only_a_late_one_is_asked_about() -> None:
    weeks = [f"2026-W{n:02d}" for n in range(1, 11)]
    points = pd.DataFrame(
        {"week": weeks, "value": 0.9, "center": 0.9, "lower": 0.8, "upper": 0.96, "unusual": False, "rules": ""}
    )
    assert control(points, "Lemon").layout.meta == "Lemon: steady, nothing unusual; leave the process alone"
    old = points.assign(unusual=[w == "2026-W02" for w in weeks])
    assert (
        control(old, "Lemon").layout.meta
        == "Lemon: steady up to 2026-W10, leave the process alone; last unusual in 2026-W02"
    )
    late = points.assign(unusual=[w in ("2026-W02", "2026-W09") for w in weeks])
    assert control(late, "Lemon").layout.meta == "Lemon: find out what happened in 2026-W09"


def test_what_is_still_in_work_is_never_named_as_a_loss() -> None:
    work = ("in_work_mg", "still in work (more than before)", -9_000_000, 5_640_000)
    frame = pd.concat([FALL, pd.DataFrame([work], columns=FALL.columns)], ignore_index=True)
    assert waterfall(frame, 1e6, "kg").layout.meta == "Start with scrap: it took 0.36 kg"


def test_a_season_flavour_that_ran_out_is_not_ordered_to_be_made() -> None:
    frame = pd.DataFrame({"name": ["Lantern jar", "Lemon jar"], "packs": [0, 9], "cover_days": [0.0, 9.0], "in_season_only": [True, False]})  # fmt: skip
    figure = cover(frame)
    assert figure.layout.meta == "Make soon: Lemon jar"
    assert list(figure.data[0].text) == ["0 days - for its season only", "9 days - make it"]


def test_empty_frames_make_figures_that_say_so() -> None:
    nothing = pd.DataFrame({"step": [], "minutes_per_kg": pd.Series(dtype=float)})
    assert by_step(nothing, "a kg").layout.meta == "No hours were recorded"
    assert days(pd.DataFrame({"day": [], "total_s": pd.Series(dtype="int64")})).layout.meta == "No hours were recorded"
    assert (
        "Nothing has sold"
        in cover(pd.DataFrame({"name": [], "packs": [], "cover_days": pd.Series(dtype=float)})).layout.meta
    )


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_on_white_is_21_as_wcag_says() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("colour", [GOOD, WATER, AGAIN, SCRAP, GAP, *SERIES])
@pytest.mark.parametrize("card", ["#ffffff", "#272225"])
def test_chart_colours_stand_out_from_both_cards(colour: str, card: str) -> None:
    """WCAG 2.2, 1.4.11: graphical objects need 3:1."""
    assert contrast(colour, card) >= 3
