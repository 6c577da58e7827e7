"""The Season page fills by itself: nobody presses a button to see what should sell and what is in the house."""

from __future__ import annotations

from typing import Any

import httpx
import pytest

from tests.browser.conftest import Service

pytestmark = pytest.mark.browser


def test_the_season_page_shows_demand_and_stock_without_a_button(service: Service, chromium: Any):
    page = chromium.new_page(viewport={"width": 1024, "height": 768})
    page.goto(f"{service.address}/season")
    page.wait_for_selector("#season-sum", timeout=60_000)
    assert "No plan is in force" in page.inner_text("#season-sum")
    page.wait_for_selector("#season-top .js-plotly-plot .scatterlayer", timeout=30_000)
    assert "lasts through" in page.inner_text("#season-top")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert page.locator("#season-stop").is_hidden() and page.locator("#season-adopt").is_disabled()
    page.wait_for_selector("#season-why:has-text('make one first')", timeout=30_000)
    folded = "document.querySelectorAll('details.fold:not([open])').length"
    before = page.evaluate(folded)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert before > 0 and page.evaluate(folded) == 0  # paper shows what is folded
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.evaluate(folded) == before
    page.locator("#season-facts > summary").click()
    page.wait_for_selector("#season-facts[open]")
    command = {"name": "open-batch", "data": {"flavour": "LEMON", "design": "LEMON-SLICE"}, "actor": "MK"}
    drawn = page.query_selector("#season-facts")
    assert httpx.post(f"{service.address}/api/v1/commands", json=command).status_code < 300
    page.wait_for_function("d => !d.isConnected", arg=drawn, timeout=30_000)  # drawn anew for the other tablet's entry
    page.wait_for_selector("#season-facts[open]", timeout=30_000)  # what was opened stays open
    page.close()
