"""Rows of a CSV file that a person made: commas, semicolons or tabs, heads in any case, a byte order mark, empty lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator


def csv_rows(text: str) -> tuple[list[str], Iterator[tuple[int, dict[str, str]]]]:
    """The head in small letters, and every row that says something as (line of the file, column -> text without blanks around it)."""
    text = text.lstrip("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.DictReader(io.StringIO(text), delimiter=max(",;\t", key=first.count))
    head = [str(name).strip().lower() for name in reader.fieldnames or []]

    def rows() -> Iterator[tuple[int, dict[str, str]]]:
        for raw in reader:
            row = {str(k).strip().lower(): str(v or "").strip() for k, v in raw.items() if k}
            if any(row.values()):
                yield reader.line_num, row

    return head, rows()


__all__ = ["csv_rows"]
