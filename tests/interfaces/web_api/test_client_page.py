"""The example client in the docs does what the page says, against a live service."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx

PAGE = Path(__file__).parents[3] / "docs" / "how-to" / "api-client.md"


def test_the_example_client_runs_as_printed(tmp_path: Path) -> None:
    code = re.search(r"```python\n(.*?)```", PAGE.read_text(), re.DOTALL)
    assert code is not None
    (tmp_path / "client.py").write_text(code[1])
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    service = subprocess.Popen(
        [sys.executable, "-m", "dashboard.serve", "--ledger", f"sqlite:///{tmp_path}/c.sqlite", "--port", str(port)]
    )
    try:
        for _ in range(240):
            try:
                httpx.get(f"{address}/api/v1/head", timeout=2)
                break
            except httpx.TransportError:
                time.sleep(0.25)
        done = subprocess.run([sys.executable, str(tmp_path / "client.py")], env={**os.environ, "SLABBOOK": address}, capture_output=True, text=True,
                              timeout=60, check=False)  # fmt: skip
    finally:
        service.terminate()
        service.wait(20)
    assert done.returncode == 0, done.stderr
    assert "24.94758 kg" in done.stdout  # 55 lb x 0.45359237 kg, the 1959 agreement, whole milligrams
    assert "lot.received" in done.stdout
