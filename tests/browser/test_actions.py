"""What a page lets one do, done in a real browser, and still there after the page is loaded anew."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from ledger.domain.books import entries as e
from tests.browser.conftest import Service

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def tablet(chromium: Any, service: Service) -> Iterator[Any]:
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    context.set_default_timeout(15000)
    yield context.new_page()
    context.close()


def show(tablet: Any, service: Service, path: str) -> None:
    tablet.goto(service.address + path)
    tablet.wait_for_selector("#page > *")


def record(tablet: Any) -> str:
    tablet.click('dialog button[type="submit"]')
    tablet.wait_for_selector("dialog:not([open])", state="attached")
    return str(tablet.locator("#outbox").inner_text())


def tell(service: Service, name: str, **data: Any) -> dict[str, Any]:
    answer = httpx.post(f"{service.address}/api/v1/commands", json={"name": name, "data": data, "actor": "MK"})
    assert answer.status_code < 300, answer.text
    told: dict[str, Any] = answer.json()
    return told


def cooked(service: Service, **changes: Any) -> tuple[str, int]:
    """A batch of lemon with its cook, told by another tablet: (code, entry)."""
    ledger = service.ledger
    lots = {
        m: str(ledger.queries.lots(item=m)["lot"].iloc[0])
        for m in ("SUGAR", "GLUCOSE")
        if not ledger.queries.lots(item=m).empty
    }
    if len(lots) < 2:
        rows = ledger.queries.lots(kinds=["material"])
        book = ledger.book()
        lots = {role: next(str(r["lot"]) for r in rows.sort_values("mass_mg", ascending=False).to_dict("records") if book.get(e.Material, r["item"]).role == role)
                for role in ("sugar", "syrup")}  # fmt: skip
    ledger.close()
    code = tell(service, "open-batch", flavour="LEMON", design="LEMON-SLICE")["batch"]
    takes = [{"lot": lot, "mass": mass} for lot, mass in zip(lots.values(), ("6 kg", "3 kg"), strict=True)]
    told = tell(
        service,
        "cook",
        batch=code,
        takes=takes,
        water="1.8 kg",
        **{"gives": [{"portion": "white", "mass": "5 kg"}, {"portion": "yellow", "mass": "3.3 kg"}], **changes},
    )
    return code, int(told["first"])


def test_a_flag_is_answered_on_the_week_and_says_by_whom_after_a_reload(tablet: Any, service: Service) -> None:
    code, _ = cooked(service, end_temperature="131 C")
    ledger = service.ledger
    week = ledger.queries.weeks()[-1]
    show(tablet, service, f"/week?week={week}")
    flag = tablet.locator(".flag", has_text=code).filter(has_text="131")
    flag.get_by_role("button", name="Answer").click()
    tablet.wait_for_selector("dialog[open] form[data-command='answer-flag']")
    tablet.fill('dialog [name="answer"]', "the probe touched the kettle")
    tablet.locator('dialog .tap:has(input[name="who"][value="JO"])').click()
    assert "recorded as entry" in record(tablet)
    tablet.reload()
    answered = tablet.locator(".flag", has_text="the probe touched the kettle")
    answered.wait_for()
    assert " JO, 20" in answered.inner_text()
    assert answered.get_by_role("button").count() == 0
    assert "the probe touched the kettle" in set(ledger.queries.flags(week)["answer"])
    ledger.close()


def test_a_cook_gains_a_portion_with_its_colour_and_loses_another(tablet: Any, service: Service) -> None:
    code, entry = cooked(service)
    show(tablet, service, f"/batch?batch={code}")
    tablet.locator("article summary").first.click()
    tablet.locator(f'[data-form="amend?origin={entry}"]').first.click()
    tablet.wait_for_selector('dialog[open] form[data-command="cook"]')
    tablet.get_by_role("button", name="Add a portion").click()
    for name, value in (("portion", "teal"), ("colour", "teal"), ("mass", "0.4")):
        tablet.fill(f'dialog [name="gives.2.{name}"]', value)
    tablet.get_by_role("button", name="Another lot, a colour, or re-boil").click()
    row = tablet.locator('dialog [data-row="takes.2"]')
    row.locator('[name$=".lot"]').select_option(index=1)
    row.locator('[name$=".mass"]').fill("2 g")
    row.locator('[name$=".portion"]').select_option("teal")
    tablet.fill('dialog [name="gives.2.portion"]', "sea")  # the choice follows its portion's new name
    assert row.locator('[name$=".portion"]').input_value() == "sea"
    tablet.get_by_role("button", name="Take out portion yellow").click()
    tablet.fill('dialog [name="amend.reason"]', "read from the wrong slip")
    assert "recorded as entry" in record(tablet)
    ledger = service.ledger
    lots = ledger.queries.lots(holding=False, batch=code).set_index("lot")
    assert lots.loc[f"{code}-C3", ["portion", "colour", "mass_mg"]].tolist() == ["sea", "teal", 400_000]
    assert (lots.loc[f"{code}-C1", "mass_mg"], lots.loc[f"{code}-C2", "mass_mg"]) == (5_000_000, 0)
    edges = ledger.queries.edges()
    colour = edges[(edges["child"] == f"{code}-C3") & (edges["mass_mg"] == 2_000)]
    assert len(colour) == 1
    ledger.close()


def test_a_step_time_is_changed_in_the_book_and_stands_in_its_history(tablet: Any, service: Service) -> None:
    show(tablet, service, "/book?kind=recipe")
    tablet.get_by_role("link", name="LEMON", exact=True).click()
    tablet.locator('[data-form="define?kind=recipe&id=LEMON"]').click()
    tablet.wait_for_selector('dialog[open] form[data-command="define"]')
    tablet.fill('dialog [name="entry.steps.0.time"]', "47")
    record(tablet)
    tablet.reload()
    history = tablet.locator('[aria-label="History of LEMON"]')
    history.wait_for()
    assert "47 min" in history.inner_text()
    ledger = service.ledger
    assert ledger.book().get(e.Recipe, "LEMON").steps[0].seconds == 47 * 60
    ledger.close()


def test_a_lot_is_found_in_the_long_table_counted_and_the_table_keeps_what_was_sought(
    tablet: Any, service: Service
) -> None:
    ledger = service.ledger
    lots = ledger.queries.lots(kinds=["packs"])
    lot = str(lots.sort_values("best_before")["lot"].iloc[-1])
    packs = int(lots.set_index("lot").loc[lot, "packs"])
    show(tablet, service, "/shelf")
    tablet.locator(".grid-find input").first.fill(lot)
    tablet.locator(f'.grid [data-form="count?lot={lot}"]').click()
    tablet.wait_for_selector('dialog[open] form[data-command="count"]')
    tablet.fill('dialog [name="packs"]', str(packs - 1))
    record(tablet)
    row = tablet.locator(f'.grid .ag-row[row-id="{lot}"] [col-id="holds"]').last
    tablet.wait_for_function(
        "n => [...document.querySelectorAll('.grid [col-id=holds]')].some((c) => c.innerText.trim() === n)",
        arg=str(packs - 1),
    )
    assert row.inner_text().strip() == str(packs - 1)
    assert tablet.locator(".grid-find input").first.input_value() == lot
    assert int(ledger.queries.lots(names=[lot])["packs"].iloc[0]) == packs - 1
    tablet.locator(".grid-find input").first.focus()
    at = tell(service, "open-batch", flavour="LEMON", design="LEMON-SLICE")["first"]  # another tablet records meanwhile
    tablet.wait_for_function(
        "n => document.querySelector('#as-of').innerText.replace(/[^0-9]/g, '').startsWith(n)", arg=str(at)
    )
    assert tablet.evaluate("document.activeElement.value") == lot
    ledger.close()


def test_the_log_is_searched_and_verified(tablet: Any, service: Service) -> None:
    show(tablet, service, "/log?text=the%20wrong%20slip")
    assert "entry amended" in tablet.locator("#page").inner_text()
    tablet.get_by_role("link", name="Verify the whole log").click()
    tablet.wait_for_selector('[role="status"] h2')
    assert "entries agree with their hashes" in tablet.locator("#page").inner_text()


def test_a_name_is_entered_on_paperlike_forms_and_erased(tablet: Any, service: Service) -> None:
    show(tablet, service, "/book?kind=contacts")
    tablet.get_by_role("link", name="Enter the name of worker JO").click()
    tablet.fill("#name", "Jo Example")
    tablet.get_by_role("button", name="Keep it").click()
    tablet.wait_for_selector('td:has-text("Jo Example")')
    tablet.get_by_role("link", name="Erase the name of worker JO").click()
    tablet.get_by_role("button", name="Erase for good").click()
    tablet.wait_for_selector("#page figure")
    assert "Jo Example" not in tablet.locator("#page").inner_text()


@pytest.mark.parametrize(("sheet", "width"), [("A4", 595), ("Letter", 612)])
def test_on_paper_a_long_table_is_plain_and_whole_and_the_page_says_whose_it_is(
    sheet: str, width: int, tablet: Any, service: Service
) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    show(tablet, service, "/shelf")
    tablet.locator(".grid .ag-row").first.wait_for()
    printed = pdfium.PdfDocument(tablet.pdf(format=sheet))
    said = " ".join(page.get_textpage().get_text_range() for page in printed)
    ledger = service.ledger
    lots = ledger.queries.lots(kinds=["packs"])["lot"]
    assert [lot for lot in lots if lot not in said] == []
    assert ledger.book().site().name in said
    assert "Find in this table" not in said and "Throw away" not in said
    assert abs(printed[0].get_width() - width) < 2
    assert tablet.locator("table.on-paper").count() == 0
    ledger.close()
