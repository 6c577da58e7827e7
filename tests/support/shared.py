"""Where the published reference data lies when it is beside the project (it always is in CI)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def shared_path(*parts: str) -> Path:
    """Path of a file of published reference data; skips the calling test when the data is not beside the project."""
    base = Path(os.environ.get("SLABBOOK_SHARED", ROOT.parent / "shared")) / "reference"
    path = base.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"reference data {'/'.join(parts)} is not beside the project (set SLABBOOK_SHARED)")
    return path
