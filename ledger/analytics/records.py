"""Rows of an answer as plain mappings: pandas says only that a column's name is hashable, ours are all text."""

from __future__ import annotations

from typing import Any, cast

import pandas as pd


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Each row as a mapping from the column's name to its value, in order."""
    return cast("list[dict[str, Any]]", frame.to_dict("records"))
