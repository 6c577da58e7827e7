"""Long tables: what they are compared by, what a cell does, when a plain table stands instead, and that only pages with one pay for the script."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from dashboard.app import create_app
from dashboard.components.grid import LONG, Col, grid, grid_id, report_grid, script_address
from ledger.application.ledger import Ledger
from ledger.application.reports_types import Column, Shop, Table
from tests.dashboard.test_pages import walk
from tests.support.asgi import client_of


def grids(part: Any) -> list[dict[str, Any]]:
    return [c["props"] for c in walk(part) if c["type"] == "AgGrid"]


def table(rows: int, **more: Any) -> Table:
    frame = pd.DataFrame(
        {
            "lot": [f"L{n}" for n in range(rows)],
            "mg": [n * 1_500_000 for n in range(rows)],
            "s": [n * 4_800 for n in range(rows)],
        }
    )
    return Table(
        "Lots", frame, (Column("lot", "lot"), Column("mg", "mass", "mass"), Column("s", "hands", "time")), **more
    )


@pytest.mark.parametrize(("units", "expected"), [("metric", 3.0), ("us", 6.61)])
def test_a_figure_is_shown_as_text_and_compared_as_the_number_shown(units: str, expected: float) -> None:
    [made] = grids(report_grid("x", table(LONG), Shop(units=units), {"lot": "/lots?mark={}"}))
    row = made["rowData"][2]
    assert row["mg"] == expected and float(row["mg~"]) == expected
    assert (row["s"], row["s~"]) == (160.0, "2:40")
    lot, mass, _ = made["columnDefs"]
    assert (lot["pinned"], lot["cellRenderer"], lot["cellRendererParams"]) == (
        "left",
        "SlabLink",
        {"href": "/lots?mark={lot#}"},
    )
    assert (mass["filter"], mass["type"]) == ("agNumberColumnFilter", "numericColumn")


def test_a_short_table_and_one_with_a_total_stay_plain() -> None:
    assert grids(report_grid("x", table(LONG - 1), Shop())) == []
    assert grids(report_grid("x", table(LONG), Shop(), None)) != []
    assert grids(report_grid("x", table(LONG, total={"lot": "all", "mg": 1}), Shop())) == []


def test_rows_are_told_apart_and_paged_only_where_they_are_many() -> None:
    rows = [{"lot": f"L{n}", "do": ["count"]} for n in range(30)]
    columns = [Col("lot", "lot"), Col("do", "do", "do", buttons={"count": ("Count", "count?lot={lot}")})]
    [many], [few] = grids(grid("a", "A", columns, rows)), grids(grid("a", "A", columns, rows[:20]))
    assert many["id"] == grid_id("a") and many["getRowId"] == "params.data['lot']"
    assert many["dashGridOptions"]["pagination"] and not few["dashGridOptions"]["pagination"]
    assert many["columnDefs"][1]["cellRendererParams"]["buttons"] == {"count": ["Count", "count?lot={lot}"]}


def test_no_page_loads_the_script_of_the_grid_by_itself_and_it_is_served_from_here(empty: Ledger) -> None:
    with client_of(create_app(empty)) as client:
        assert (
            "dash_ag_grid.v" not in client.get("/shelf").text and "dash_ag_grid.min.js" not in client.get("/shelf").text
        )
        answer = client.get(script_address())
    assert answer.status_code == 200 and "max-age=31536000" in answer.headers["cache-control"]
    assert "enterprise" not in script_address()


def test_a_columns_name_has_no_point_because_the_grid_would_look_inside(demo: Ledger) -> None:
    from dashboard.shell import render

    for path, search in (
        ("/shelf", ""),
        ("/lots", ""),
        ("/book", "?kind=material"),
        ("/book", "?kind=pack"),
        ("/book", "?kind=recipe"),
    ):
        for made in grids(render(demo, path, search)):
            assert made["rowData"]
            for column in made["columnDefs"]:
                assert "." not in column["field"]
                assert any(column["field"] in row for row in made["rowData"]), (path, column["field"])
