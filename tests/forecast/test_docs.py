"""The code on the pages about the forecast runs as printed."""

from __future__ import annotations

import re

from tests.support.shared import ROOT


def test_the_code_of_the_how_to_runs_as_printed() -> None:
    page = (ROOT / "docs" / "how-to" / "read-the-forecast.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", page, flags=re.DOTALL)
    assert len(blocks) == 4
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, "read-the-forecast.md", "exec"), names)
    assert {"result", "moved", "scores"} <= set(names)
