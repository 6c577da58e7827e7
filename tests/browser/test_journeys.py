"""A day at the slab in a real browser.

Times of single actions for counting seconds come from the keystroke-level model (Card, Moran and Newell, 1980, quoted from memory):
pointing 1.1 s, a key 0.28 s, and one mental preparation of 1.35 s before each form.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.conftest import Service

pytestmark = [pytest.mark.browser, pytest.mark.slow]
POINT, KEY, THINK = 1.1, 0.28, 1.35


class Hand:
    """One person at one tablet; counts what they do."""

    def __init__(self, page: Any) -> None:
        self.page, self.seconds, self.actions = page, 0.0, 0

    def tap(self, selector: str, nth: int = 0) -> None:
        self.page.locator(selector).nth(nth).click()
        self.seconds, self.actions = self.seconds + POINT, self.actions + 1

    def type(self, name: str, text: str) -> None:
        self.tap(f'dialog [name="{name}"]')
        self.page.locator(f'dialog [name="{name}"]').fill(text)
        self.seconds, self.actions = self.seconds + KEY * len(text), self.actions + len(text)

    def open(self, selector: str) -> None:
        self.tap(selector)
        self.page.wait_for_selector("dialog[open] form[data-command]")
        self.seconds += THINK

    def record(self) -> str:
        self.tap('dialog button[type="submit"]')
        self.page.wait_for_selector("dialog:not([open])", state="attached")
        return str(self.page.locator("#outbox").inner_text())

    def crew(self, minutes: str) -> None:
        self.tap("dialog .crew .tap")
        self.type("minutes", minutes)


@pytest.fixture
def tablet(chromium: Any, service: Service) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(service.address + "/bench")
    page.wait_for_selector("#open-batch")
    yield page
    context.close()


def open_one(hand: Hand) -> str:
    hand.open("#open-batch")
    hand.tap("dialog .tap")
    told = hand.record()
    code = told.split("Batch ")[1].split(" is open")[0]
    hand.page.wait_for_selector(f'.card .code a:has-text("{code}")')
    return code


def test_a_batch_from_receiving_to_jars_then_amended_and_the_week_follows(tablet: Any, service: Service) -> None:
    hand = Hand(tablet)
    hand.open('[data-form="receive"]')
    hand.type("mass", "25")
    if tablet.locator('dialog select[name="supplier"]').count() == 0:
        hand.type("supplier", "MILL")
    hand.record()
    code = open_one(hand)
    main = Hand(tablet)
    for step in ("cook", "pull", "build", "roll", "cut", "pack"):
        counted = main if step in ("cook", "build", "cut", "pack") else hand
        counted.open(f'.card [data-form="{step}?batch={code}"] >> visible=true')
        if step == "cook":
            assert "Molten sugar burns" in tablet.locator("dialog .caution").inner_text()
            counted.type("gives.0.mass", "11.8")
        if step == "cut":
            counted.type("gives.0.mass", "10.9")
            counted.type("losses.0.mass", "0.3")
        if step == "pack":
            counted.type("packs", "20")
        counted.crew("25")
        told = counted.record()
        assert "recorded as entry" in told
        wanted = {
            "cook": "pull",
            "pull": "build",
            "build": "roll",
            "roll": "cut",
            "cut": "pack",
            "pack": "close-batch",
        }[step]
        tablet.wait_for_selector(f'.card .big[data-form="{wanted}?batch={code}"]')
    assert main.seconds < 60, f"{main.actions} actions, {main.seconds:.0f} s"

    ledger = service.ledger
    pieces = ledger.queries.lots(holding=False, batch=code, kinds=["pieces"])
    assert list(pieces["made_mg"]) == [10_900_000]
    week = ledger.queries.weeks()[-1]
    tablet.goto(f"{service.address}/week?week={week}")
    tablet.wait_for_selector(f'td a:has-text("{code}")')
    row = tablet.locator(f'tr:has(a:has-text("{code}"))').first
    assert "10.900" in row.inner_text()

    tablet.goto(f"{service.address}/bench")
    tablet.locator("article summary").first.click()
    cut = next(p for p in tablet.locator(".amend").all() if p.inner_text().startswith("cut"))
    cut.get_by_text("Amend", exact=True).click()
    tablet.wait_for_selector("dialog[open] form[data-command]")
    assert tablet.locator('dialog [name="gives.0.mass"]').input_value() == "10.9 kg"
    tablet.fill('dialog [name="gives.0.mass"]', "10.7")
    tablet.fill('dialog [name="amend.reason"]', "misread the scale")
    hand.record()
    tablet.goto(f"{service.address}/week?week={week}")
    tablet.wait_for_selector(f'td a:has-text("{code}")')
    assert "10.700" in tablet.locator(f'tr:has(a:has-text("{code}"))').first.inner_text()
    ledger.close()


def test_an_entry_made_without_connection_is_kept_and_sent_once(tablet: Any, service: Service) -> None:
    hand = Hand(tablet)
    ledger = service.ledger
    before = len(ledger.queries.batches(status="open"))
    hand.open("#open-batch")
    hand.tap("dialog .tap")
    lost: list[str] = []

    def swallow(route: Any) -> None:  # the service records, but its answer never arrives
        lost.append(route.request.post_data)
        if len(lost) == 1:
            route.fetch()
        route.abort()

    tablet.route("**/api/v1/commands", swallow)
    tablet.click('dialog button[type="submit"]')
    tablet.wait_for_selector("#outbox .waiting")
    tablet.reload()  # even the tablet may be switched off
    tablet.wait_for_selector("#outbox .waiting")
    assert "waits on this tablet" in tablet.locator("#outbox .waiting").inner_text()
    tablet.unroute("**/api/v1/commands")
    tablet.wait_for_selector("#outbox .waiting", state="detached", timeout=15000)
    assert len(ledger.queries.batches(status="open")) == before + 1
    assert tablet.evaluate("window.slabbook.outbox().length") == 0
    ledger.close()


def test_a_refused_form_keeps_what_was_typed_and_says_where(tablet: Any, service: Service) -> None:
    hand = Hand(tablet)
    code = open_one(hand)
    hand.open(f'.card .big[data-form="cook?batch={code}"]')
    hand.type("takes.0.mass", "9999")
    hand.type("gives.0.mass", "5 miles")
    tablet.wait_for_selector("dialog .said.wrong")
    assert "`miles` is not a unit" in tablet.locator("dialog .said.wrong").first.inner_text()
    tablet.fill('dialog [name="gives.0.mass"]', "5")
    tablet.click('dialog button[type="submit"]')
    tablet.wait_for_selector("dialog .refusal:not([hidden])")
    assert "holds" in tablet.locator("dialog .refusal").inner_text()
    assert tablet.locator('dialog [name="takes.0.mass"]').input_value() == "9999"
    tablet.reload()
    tablet.wait_for_selector(".card .big")
    hand.open(f'.card .big[data-form="cook?batch={code}"]')
    assert tablet.locator('dialog [name="takes.0.mass"]').input_value() == "9999"


def test_two_tablets_see_each_other_without_losing_what_is_typed(chromium: Any, tablet: Any, service: Service) -> None:
    other = chromium.new_context(viewport={"width": 390, "height": 844}).new_page()
    other.goto(service.address + "/bench")
    other.wait_for_selector("#open-batch")
    one, two = Hand(tablet), Hand(other)
    one.open('[data-form="receive"]')
    one.type("mass", "12.5")
    code = open_one(two)
    tablet.wait_for_selector(f'.card .code a:has-text("{code}")', state="attached", timeout=15000)
    assert tablet.locator("dialog[open]").count() == 1
    assert tablet.locator('dialog [name="mass"]').input_value() == "12.5"
    other.context.close()


def test_a_batch_can_be_opened_and_rolled_with_the_keyboard_alone(tablet: Any, service: Service) -> None:
    keys = tablet.keyboard
    keys.press("n")
    tablet.wait_for_selector("dialog[open] form[data-command]")
    for _ in range(30):
        keys.press("Tab")
        if tablet.evaluate("document.activeElement.type") == "radio":
            break
    keys.press("Space")
    keys.press("Enter")
    tablet.wait_for_selector(".card .big")
    for _ in range(60):
        keys.press("Tab")
        if tablet.evaluate("(document.activeElement.dataset.form || '').startsWith('cook')"):
            break
    keys.press("Enter")
    tablet.wait_for_selector('dialog[open] form[data-command="cook"]')
    keys.press("Escape")
    assert tablet.locator("dialog[open]").count() == 0
    assert tablet.evaluate("document.activeElement.dataset.form").startswith("cook")
    keys.press("3")
    tablet.wait_for_url("**/week")


def test_the_clock_of_a_step_fills_in_its_minutes(tablet: Any, service: Service) -> None:
    hand = Hand(tablet)
    code = open_one(hand)
    hand.tap(f'.card button[data-clock="{code}:cook"]')
    tablet.evaluate(f"localStorage.setItem('slabbook.clock.{code}:cook', Date.now() - 23 * 60000)")
    hand.open(f'.card .big[data-form="cook?batch={code}"]')
    assert tablet.locator('dialog [name="minutes"]').input_value() == "23"
