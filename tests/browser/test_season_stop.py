"""A plan that would take hours is watched, left and come back to, stopped by keyboard and by touch, forgotten and adopted, on two tablets at once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.application import season_adopt
from tests.browser.conftest import Service, serving
from tests.support.made_once import copied, invented_shop

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.long]

STOPPED = re.compile(
    r"\d+ lines from 2026-W48 to 2027-W\d\d, cost EUR [\d ]+, found in [\d.]+ s, when it was stopped: the best so far\. "
    r"No plan can cost less than EUR [\d ]+: it is at most [\d.]+ % away\. The best simple rule \(.+\) would cost EUR [\d ]+\."
)
FIGURES = re.compile(r"\d+ s so far; (\d+ %; )?best so far EUR [\d ]+, at most [\d.]+ % above the best possible\.")
LONG = 120_000


@pytest.fixture
def endless(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A shop of four weeks on 2026-11-25, whose planner never has enough."""
    url = f"sqlite:///{copied(invented_shop(tmp_path_factory, weeks=4), tmp_path / 'shop.sqlite')}"
    (tmp_path / "clock").write_text("2026-11-25T09:00:00+00:00")
    with serving(url, "tests.browser.own_service", url, "{port}", str(tmp_path / "clock"), "endless") as found:
        yield found


def searching(page: Any) -> None:
    """Waits until the search goes on and its figures stand beside it."""
    page.wait_for_function(
        "document.querySelector('#season-status')?.innerText.includes('Searching for a better plan')", timeout=LONG
    )
    assert FIGURES.search(page.inner_text("#season-status")), page.inner_text("#season-status")


def sum_says(page: Any, words: str) -> str:
    page.wait_for_function("w => document.querySelector('#season-sum')?.innerText.includes(w)", arg=words, timeout=LONG)
    return str(page.inner_text("#season-sum"))


def test_a_plan_that_takes_hours_is_stopped_with_the_best_so_far(endless: Service, chromium: Any):
    tablet = chromium.new_context(viewport={"width": 1024, "height": 768}).new_page()
    phone = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True).new_page()
    tablet.goto(f"{endless.address}/season?weeks=13")
    sum_says(tablet, "No plan is in force")
    tablet.wait_for_selector("#season-why:has-text('make one first')", timeout=LONG)
    phone.goto(f"{endless.address}/season")

    tablet.focus("#season-make")
    tablet.keyboard.press("Enter")
    searching(tablet)
    assert tablet.locator("#season-make").is_hidden() and tablet.locator("#season-adopt").is_disabled()
    tablet.wait_for_function(
        "document.activeElement.id === 'season-stop'"
    )  # the keyboard stays with the button that can do something

    tablet.click("text=Bench")
    tablet.wait_for_selector("#open-batch")
    tablet.click("text=Season")
    searching(tablet)  # leaving the page stops nothing

    searching(phone)  # begun on the tablet, followed on the telephone
    phone.evaluate("scrollTo(0, document.body.scrollHeight)")
    stop = phone.locator("#season-stop").bounding_box()
    assert stop and stop["height"] >= 44 and 0 <= stop["y"] <= 844 - stop["height"], (
        stop
    )  # in sight however far one has scrolled
    phone.tap("#season-stop")
    for page in (phone, tablet):
        assert STOPPED.fullmatch(sum_says(page, "when it was stopped")), page.inner_text("#season-sum")
        page.wait_for_selector("#season-adopt:not([disabled])", timeout=LONG)
        assert page.locator("#season-stop").is_hidden() and page.locator("#season-make").is_visible()

    phone.tap("#season-forget")
    for page in (phone, tablet):
        sum_says(page, "No plan is in force")
    assert endless.ledger.queries.papers("plan") == []

    tablet.focus("#season-make")
    tablet.keyboard.press("Enter")
    searching(tablet)
    tablet.wait_for_function("document.activeElement.id === 'season-stop'")
    tablet.keyboard.press("Enter")
    sum_says(tablet, "when it was stopped")
    tablet.wait_for_selector("#season-adopt:not([disabled])", timeout=LONG)
    tablet.click("#season-adopt")
    tablet.wait_for_selector("#season-status:has-text('Adopted as P2026W48-1')", timeout=LONG)
    paper = season_adopt.adopted(endless.ledger)
    assert season_adopt.read_back(paper)[0].stopped and season_adopt.recheck(paper).agrees
    assert any(line["dates"][0] for line in paper.lines)  # laid on its days although it was stopped
    for page in (tablet, phone):
        page.context.close()
