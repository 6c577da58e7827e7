"""Every page in a real browser: no serious finding of axe-core (WCAG 2.2 A and AA), nothing asked of another address, nothing too wide."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest

from dashboard.page import pages
from tests.browser.conftest import Service

pytestmark = [pytest.mark.browser, pytest.mark.slow]
FORMS = ("open-batch", "receive", "sell", "define?kind=recipe")


def serious(page: Any, axe: str) -> list[str]:
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {runOnly: ['wcag2a','wcag2aa','wcag21aa','wcag22aa']})")
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:160]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_a_serious_finding(scheme: str, chromium: Any, service: Service, axe: str) -> None:
    context = chromium.new_context(viewport={"width": 1024, "height": 768}, color_scheme=scheme, bypass_csp=True)
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
    for one in pages():
        page.goto(service.address + one.path)
        page.wait_for_selector("#page > *")
        page.wait_for_timeout(600)
        told += [f"{one.path} {x}" for x in serious(page, axe)]
    page.goto(service.address + "/bench")
    page.wait_for_selector("#open-batch")
    for form in FORMS if scheme == "light" else FORMS[:1]:
        page.evaluate(
            f"(() => {{ const b = document.createElement('button'); b.dataset.form = '{form}'; document.body.append(b); b.click(); b.remove(); }})()"
        )
        page.wait_for_selector("dialog[open] form")
        page.wait_for_timeout(200)
        told += [f"form {form} {x}" for x in serious(page, axe)]
        page.keyboard.press("Escape")
    context.close()
    assert told == []
    assert outside == [] and wrong == []


@pytest.mark.parametrize("size", [(1024, 768), (390, 844), (1440, 900)])
def test_no_page_is_wider_than_its_screen(size: tuple[int, int], chromium: Any, service: Service) -> None:
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    for one in pages():
        page.goto(service.address + one.path)
        page.wait_for_selector("#page > *")
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], one.path
    context.close()
