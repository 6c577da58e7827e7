"""The API against its own OpenAPI document: schemathesis makes requests from it and checks every answer (schema, status, type)."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import hypothesis
import pytest

from ledger.application.ledger import open_ledger
from ledger.interfaces.web_api import build_api
from tests.support.made_once import copied, invented_shop

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    schemathesis = pytest.importorskip("schemathesis")


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = copied(invented_shop(tmp_path_factory, weeks=4), tmp_path_factory.mktemp("openapi") / "shop.sqlite")
    api = build_api(open_ledger(f"sqlite:///{path}"))
    return schemathesis.openapi.from_asgi("/openapi.json", api)


def test_the_document_describes_every_route(schema: Any) -> None:
    raw = schema.raw_schema
    assert raw["openapi"].startswith("3.1")
    assert {
        "/commands",
        "/commands/check",
        "/log",
        "/log/stream",
        "/lots",
        "/batches",
        "/book",
        "/reports/{name}",
        "/head",
    } <= set(raw["paths"])


@pytest.mark.filterwarnings("ignore")
def test_every_answer_keeps_to_the_document(schema: Any) -> None:
    tried: set[str] = set()
    for result in schema.get_all_operations():
        operation = result.ok()

        @hypothesis.settings(
            max_examples=15,
            deadline=None,
            suppress_health_check=list(hypothesis.HealthCheck),
            derandomize=True,
            database=None,
        )
        @hypothesis.given(case=operation.as_strategy())
        def holds(case: Any) -> None:
            if "wait" in (case.query or {}):
                case.query["wait"] = 0
            case.call_and_validate(excluded_checks=excluded())

        holds()
        tried.add(operation.label)
    assert {"POST /commands", "GET /log", "GET /reports/{name}"} <= tried


def excluded() -> list[Callable[..., Any]]:
    """Checks that ask for what a rule may refuse: a well-formed command can still be against the rules of the floor (409 or 422)."""
    from schemathesis.specs.openapi.checks import positive_data_acceptance, unsupported_method

    return [positive_data_acceptance, unsupported_method]
