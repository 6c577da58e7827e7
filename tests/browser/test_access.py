"""Every page in a real browser: no serious finding of axe-core (WCAG 2.2 A and AA), nothing asked of another address, nothing too wide."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest

from dashboard.page import pages
from tests.browser.conftest import Service

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SIZES = ((390, 844), (1024, 768), (1440, 900))
FORMS = ("open-batch", "receive", "sell", "define?kind=recipe")


EVERYTHING = "['wcag2a','wcag2aa','wcag21aa','wcag22aa']"
COLOURS = "{type: 'rule', values: ['color-contrast', 'link-in-text-block']}"


def serious(page: Any, axe: str, rules: str = EVERYTHING) -> list[str]:
    page.evaluate(axe)
    found = page.evaluate(f"axe.run(document, {{runOnly: {rules}}})")
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:160]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def test_no_page_has_a_serious_finding_in_light_or_dark(chromium: Any, service: Service, axe: str) -> None:
    context = chromium.new_context(viewport={"width": 1024, "height": 768}, color_scheme="light", bypass_csp=True)
    page, told = context.new_page(), []
    outside: list[str] = []
    page.on(
        "request",
        lambda r: (
            outside.append(r.url) if urlsplit(r.url).netloc not in (urlsplit(service.address).netloc, "") else None
        ),
    )
    wrong: list[str] = []
    page.on("pageerror", lambda e: wrong.append(str(e)))
    seen: set[str] = set()
    for one in pages():
        page.goto(service.address + one.path)
        page.wait_for_selector("#page > *")
        page.wait_for_timeout(600)
        for rules in (EVERYTHING, COLOURS):  # the other scheme has other colours and nothing else
            scheme = page.evaluate("document.documentElement.getAttribute('data-mantine-color-scheme')")
            seen.add(scheme)
            told += [f"{one.path} {scheme} {x}" for x in serious(page, axe, rules)]
            page.click("#theme")
            page.wait_for_timeout(100)
    page.goto(service.address + "/bench")
    page.wait_for_selector("#open-batch")
    for number, form in enumerate(FORMS):
        page.evaluate(
            f"(() => {{ const b = document.createElement('button'); b.dataset.form = '{form}'; document.body.append(b); b.click(); b.remove(); }})()"
        )
        page.wait_for_selector("dialog[open] form")
        page.wait_for_timeout(200)
        told += [f"form {form} {x}" for x in serious(page, axe)]
        page.keyboard.press("Escape")
        if number == 0:
            page.click("#theme")
    context.close()
    assert told == []
    assert seen == {"light", "dark"}
    assert outside == [] and wrong == []


def test_no_page_is_wider_than_its_screen(chromium: Any, service: Service) -> None:
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    for path in [*(one.path for one in pages()), "/log?verify=1"]:
        page.goto(service.address + path)
        page.wait_for_selector("#page > *")
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_function(f"document.documentElement.scrollWidth <= {width} || performance.now() > 60000")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, f"{path} at {width}"
    context.close()


def test_a_field_that_has_the_cursor_is_never_behind_the_record_button(chromium: Any, service: Service) -> None:
    """WCAG 2.2, 2.4.11: what is focused is not hidden by what the author put over it."""
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(service.address + "/book?kind=material")
    page.click('#page [data-form^="define"]')
    page.wait_for_selector("dialog[open] form[data-command]")
    page.evaluate("document.querySelectorAll('dialog details').forEach((d) => { d.open = true; })")
    hidden = []
    for _ in range(24):
        page.keyboard.press("Tab")
        hidden += page.evaluate(
            "(() => { const f = document.activeElement; if (!f.matches('dialog input, dialog select')) return []; const a = f.getBoundingClientRect(), "
            "b = document.querySelector('dialog .buttons').getBoundingClientRect(); return a.bottom > b.top + 1 ? [f.name] : []; })()"
        )
    context.close()
    assert hidden == []


def test_a_new_shop_is_entered_by_hand_with_what_is_missing_named(chromium: Any, service: Service) -> None:
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(service.address + "/book?kind=flavour")
    page.click('#page [data-form="define?kind=flavour"]')
    page.wait_for_selector("dialog[open] form[data-command]")
    page.fill('dialog [name="entry.id"]', "quince")
    assert page.locator('dialog [name="entry.id"]').input_value() == "QUINCE"
    page.click('dialog button[type="submit"]')
    page.wait_for_selector("dialog .refusal:not([hidden])")
    assert page.locator("dialog .refusal").inner_text() == "Nothing was recorded yet. Still to fill in: Name."
    assert page.evaluate("document.activeElement.name") == "entry.name"
    page.fill('dialog [name="entry.name"]', "Quince")
    page.click('dialog button[type="submit"]')
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert "Enter a flavour: recorded" in page.locator("#outbox").inner_text()
    context.close()
