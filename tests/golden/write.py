"""``python -m tests.golden.write``: keep a sample of every shape of an event that has none yet."""

from __future__ import annotations

from tests.golden.samples import write_missing

if __name__ == "__main__":
    written = write_missing()
    for path in written:
        print(f"wrote {path.name}")
    print(f"{len(written)} new samples")
