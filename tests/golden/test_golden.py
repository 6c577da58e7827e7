"""Every shape of every event ever released is still readable."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import rfc8785

from ledger.domain import stored_names
from ledger.domain.movement import Movement
from ledger.domain.samples import SAMPLE_OF, SAMPLES
from ledger.store.codec import decode, encode
from tests.golden.samples import FOLDER, file_of, released_names

FILES = sorted(FOLDER.glob("*.json"))
released_names()  # so that every event class is loaded


def parts(path: Path) -> tuple[str, int]:
    found = re.fullmatch(r"(.+)\.v(\d+)\.json", path.name)
    assert found, f"{path.name} is not named <stored name>.v<shape>.json"
    return found[1], int(found[2])


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_kept_sample_still_reads_as_the_present_class(path: Path) -> None:
    name, version = parts(path)
    event = decode(name, version, path.read_bytes())
    assert type(event) is stored_names.class_of(name)
    assert decode(name, stored_names.version_of(type(event)), encode(event)) == event


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_kept_sample_is_canonical(path: Path) -> None:
    payload = path.read_bytes().rstrip(b"\n")

    assert rfc8785.dumps(json.loads(payload)) == payload


def test_every_event_has_a_kept_sample_of_its_present_shape() -> None:
    missing = [
        file_of(name, stored_names.version_of(stored_names.class_of(name))).name
        for name in released_names()
        if not file_of(name, stored_names.version_of(stored_names.class_of(name))).exists()
    ]
    assert not missing, f"add a sample to ledger/domain/samples.py and run python -m tests.golden.write: {missing}"


def test_no_released_name_has_disappeared() -> None:
    assert {parts(path)[0] for path in FILES} <= set(released_names())


def test_every_event_has_one_sample() -> None:
    assert sorted(SAMPLE_OF) == released_names()
    assert len(SAMPLES) == len(SAMPLE_OF)


@pytest.mark.parametrize("name", sorted(SAMPLE_OF))
def test_a_sample_encodes_canonically_and_decodes_equal(name: str) -> None:
    event = SAMPLE_OF[name]
    payload = encode(event)
    assert rfc8785.dumps(json.loads(payload)) == payload
    assert decode(name, stored_names.version_of(type(event)), payload) == event


OTHER_SIDE = {"receive", "sell", "ship", "return", "sample", "scrap", "count"}


@pytest.mark.parametrize(
    "event", [x for x in SAMPLES if isinstance(x, Movement) and x.step not in OTHER_SIDE], ids=lambda x: x.step
)
def test_a_sample_of_a_step_balances_to_the_milligram(event: Movement) -> None:
    came = sum(t.mass_mg for t in event.takes) + event.water_mg
    went = sum(g.mass_mg for g in event.gives) + sum(x.mass_mg for x in event.losses)
    assert came == went + event.evaporated_mg + event.unexplained_mg
    assert sum(t.cost for t in event.takes) == sum(g.cost for g in event.gives)
