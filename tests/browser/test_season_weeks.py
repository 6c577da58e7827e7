"""Weeks pass: a plan is adopted, its batches are opened from the Season page and from the bench, made and sold; then the plan is made anew from real stock,
seen beside the old one, adopted, and the old one looked back on."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from ledger.application import season_adopt
from ledger.application.ledger import Ledger, open_ledger
from ledger.application.season_compare import compare_report
from tests.browser.conftest import Service, serving
from tests.support.made_batches import make_batch, say
from tests.support.made_once import copied, invented_shop

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.long]

LONG = 120_000
QUICK = "season?weeks=13&effort=quick"


class Weeks:
    """A service whose day can be moved on, and its ledger on that day."""

    def __init__(self, service: Service, clock: Path) -> None:
        self.service, self.clock = service, clock

    def now(self, moment: str) -> Ledger:
        """It is this moment now."""
        self.clock.write_text(f"{moment}+00:00")
        return open_ledger(self.service.url, clock=lambda: datetime.fromisoformat(self.clock.read_text()))


@pytest.fixture
def weeks(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Weeks]:
    url, clock = (
        f"sqlite:///{copied(invented_shop(tmp_path_factory, weeks=4), tmp_path / 'shop.sqlite')}",
        tmp_path / "clock",
    )
    clock.write_text("2026-11-25T09:00:00+00:00")
    with serving(url, "tests.browser.own_service", url, "{port}", str(clock)) as found:
        yield Weeks(found, clock)


def make_and_adopt(page: Any, before: Callable[[], None] | None = None) -> str:
    """Presses Make, looks (`before`), presses Adopt; the plan's name."""
    page.wait_for_selector("#season-make:visible", timeout=LONG)
    page.click("#season-make")
    page.wait_for_selector("#season-adopt:not([disabled])", timeout=LONG)
    if before is not None:
        before()
    page.click("#season-adopt")
    page.wait_for_selector("#season-status:has-text('Adopted as')", timeout=LONG)
    found = re.search(r"Adopted as (P\w+-\d+)", page.inner_text("#season-status"))
    assert found
    return found[1]


def test_a_plan_lives_for_weeks_and_is_made_anew(weeks: Weeks, chromium: Any):
    page = chromium.new_context(viewport={"width": 1024, "height": 768}).new_page()
    address = weeks.service.address
    page.goto(f"{address}/{QUICK}")
    first = make_and_adopt(page)
    assert first == "P2026W48-1" and page.locator("#season-beside").count() == 0

    ledger = weeks.now("2026-12-09T09:00:00")  # two weeks on: the page knows the day by itself
    page.goto(f"{address}/{QUICK}")
    page.wait_for_selector(f"#season-sum:has-text('Plan {first}, adopted on 2026-11-25, is in force')", timeout=LONG)
    page.locator("#season-next-lines button").first.click()
    page.locator("#season-next a[href^='/sheet']").first.click(
        timeout=LONG
    )  # beside the words at first, in its row when the page read itself anew
    page.wait_for_selector("#sheet-answer", timeout=LONG)
    one = re.search(r"batch=([0-9A-Z]+)", page.url)
    assert one and one[1] in page.inner_text("main")

    page.goto(f"{address}/bench")
    page.wait_for_selector("#bench-due button", timeout=LONG)
    page.locator("#bench-due button").first.click()
    page.wait_for_selector("dialog[open] form[data-command]")
    page.locator('dialog button[type="submit"]').click()
    page.wait_for_selector("dialog:not([open])", state="attached")
    states = {s["batch"]: s for s in season_adopt.line_states(ledger, season_adopt.adopted(ledger)) if s["batch"]}
    assert len(states) == 2 and one[1] in states

    for batch, kilos in zip(sorted(states), (9.5, 8.5), strict=True):
        make_batch(ledger, batch, kilos)
    say(ledger, "sell", pack="CLOVE-JAR", packs="20", channel="SHOP")
    lot = ledger.queries.shelf(["CLOVE-JAR"]).iloc[0]
    say(ledger, "count", lot=str(lot["lot"]), packs=str(int(lot["packs"]) - 2))

    ledger = weeks.now("2026-12-14T09:00:00")
    page.goto(f"{address}/{QUICK}")
    page.wait_for_selector("#season-sum:has-text('batches still to make')", timeout=LONG)

    def side_by_side() -> None:
        page.wait_for_selector(
            f"#season-beside:has-text('The plan in force beside the new one: {first}')", timeout=LONG
        )
        said = page.inner_text("#season-beside")
        assert "Both through 2027-W07" in said and "looks on to 2027-W10" in said
        cost = re.search(r"cost\s+EUR ([\d ]+)\s+EUR ([\d ]+)", said)
        assert cost, said
        page.locator("#season-beside details summary").click()  # the lines that differ, or it says that none does
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0

    second = make_and_adopt(page, side_by_side)
    assert second == "P2026W51-1" and page.locator("#season-beside").count() == 0
    newest = season_adopt.adopted(ledger)
    assert (newest.plan, newest.supersedes, newest.frozen_until) == (second, first, "2026-W52")

    page.goto(f"{address}/{QUICK}&went={first}")
    page.wait_for_selector(f"#season-went :text('Looking back: planned, made and sold: {first}')", timeout=LONG)
    page.locator("#season-went summary").first.click()
    said = page.inner_text("#season-went")
    report = compare_report(ledger, first)
    assert report.sentence in said and "Where the difference comes from" in said
    for row in report.tables["split"].frame.to_dict("records"):
        assert (
            row["known_mg"] + row["forecast_mg"] + row["batches_mg"] + row["yield_mg"] + row["count_mg"]
            == row["net_mg"]
        )
    page.context.close()
