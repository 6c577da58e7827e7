"""Any table of the ledger as CSV, Parquet or XLSX. Figures leave as whole canonical numbers, their units in the column names."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from ledger.errors import BadInput

SUFFIXES = (".csv", ".parquet", ".xlsx", ".json")


def to_bytes(tables: Mapping[str, pd.DataFrame], suffix: str) -> bytes:
    """Some tables as one file: CSV, Parquet and JSON take one table, XLSX takes a sheet each. Raises BadInput for another suffix."""
    if not tables:
        raise BadInput("There is nothing to write: this report has no table for what was asked.")
    if suffix == ".xlsx":
        buffer = io.BytesIO()
        with pd.ExcelWriter(buffer, engine="openpyxl") as writer:
            for name, frame in tables.items():
                frame.to_excel(writer, sheet_name=name[:31] or "table", index=False)
        return buffer.getvalue()
    if suffix not in SUFFIXES:
        raise BadInput(
            f"`{suffix}` files are not written; name the file with one of {', '.join(SUFFIXES)}.", value=suffix
        )
    if len(tables) != 1:
        raise BadInput(
            f"A {suffix} file holds one table, here are {len(tables)} ({', '.join(tables)}); name one, or write .xlsx."
        )
    frame = next(iter(tables.values()))
    if suffix == ".parquet":
        buffer = io.BytesIO()
        frame.to_parquet(buffer, index=False)
        return buffer.getvalue()
    if suffix == ".json":
        text: str = frame.to_json(orient="records", force_ascii=False, indent=2)
        return text.encode()
    return frame.to_csv(index=False, lineterminator="\n").encode()


def write(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    """Some tables into a file whose ending says how."""
    data = to_bytes(tables, path.suffix.lower())
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
