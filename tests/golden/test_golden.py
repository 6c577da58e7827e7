"""Every shape of every event ever released is still readable."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import rfc8785

from ledger.domain import stored_names
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
