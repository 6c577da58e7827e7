"""An inspector at the door, a telephone in one hand: from the code on a jar to the closing report."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from ledger.domain.shelf.commands import Ship
from tests.browser.conftest import Service

pytestmark = pytest.mark.browser


@pytest.fixture
def phone(chromium: Any) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
    yield context.new_page()
    context.close()


def fits(phone: Any) -> None:
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390, phone.url


def test_from_the_code_on_a_jar_to_the_closing_report_with_one_thumb(phone: Any, service: Service) -> None:
    ledger = service.ledger
    jar = ledger.queries.lots(kinds=["packs"]).query("packs >= 9").iloc[-1]
    lot, there = str(jar["lot"]), int(jar["packs"]) - 2
    ledger.do(Ship(day=ledger.today(), pack=str(jar["item"]), packs=2, customer="HOTEL", lot=lot, document="PHONE-1"))
    phone.goto(f"{service.address}/L/{lot}")
    phone.wait_for_selector("text=Start a recall here")
    fits(phone)
    phone.tap("text=Start a recall here")
    assert phone.input_value("#lot") == lot
    phone.fill("#reason", "drill at the door")
    phone.check("[name=drill]")
    phone.tap("button[type=submit]")
    phone.wait_for_selector("#call")
    fits(phone)
    todo = phone.locator("ol[aria-label='Left to do']").inner_text()
    assert "Call 1 customer" in todo and "Count 1 lot on the shelf" in todo
    assert phone.locator("#call a[href='tel:01632960113']").bounding_box()["height"] >= 44
    phone.tap("text=Was called")
    phone.tap("button[type=submit]")
    phone.wait_for_selector("text=Customers told")
    phone.tap(f"[aria-label='Count: {lot}']")
    phone.fill("#packs", str(there - 1))
    phone.tap("button[type=submit]")
    phone.wait_for_selector(f"text={there} at the start - 1 not found = {there - 1} on hand (packs)")
    fits(phone)
    phone.tap("text=Nothing is left to call or count: close it")
    phone.tap("button[type=submit]")
    phone.wait_for_selector("h2:has-text('closed')")
    report = phone.get_attribute("text=Report (PDF)", "href")
    assert phone.request.get(f"{service.address}{report}").body().startswith(b"%PDF")
    assert int(ledger.queries.lot(lot)["packs"]) == there - 1 and not ledger.queries.lot(lot)["held"]
    ledger.close()
