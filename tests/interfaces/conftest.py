"""A command line on a real SQLite file: a small book, and one batch from the kettle to the jar."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ledger.application.ledger import open_ledger
from ledger.interfaces.cli.main import main
from tests.support.made_once import invented_shop

DAY = "2026-02-14"

BOOK = """
[site.LOFT]
name = "The sugar loft"
zone = "Europe/Dublin"
currency = "EUR"

[material.SUGAR]
name = "Sugar"
role = "sugar"
[material.SYRUP]
name = "Glucose syrup"
role = "syrup"
solids = "80.3 %"
[flavour.LEMON]
name = "Sharp lemon"
[flavour.MINT]
name = "Peppermint"
[design.SLICE]
name = "Lemon slice"
piece_mg = 2220
[recipe.LEMON]
flavour = "LEMON"
end_temperature = "310 F"
temperature_tolerance = "5 F"
[pack.LEMON-JAR]
name = "Lemon jar"
flavour = "LEMON"
design = "SLICE"
net = "113 g"
price = "5.90"
[worker.AB]
rate = "18.00"
[worker.CD]
rate = "15.50"
[station.K1]
kind = "kettle"
max = "20 kg"
[partner.MILL]
role = "supplier"
[partner.GIFTS]
role = "customer"
[channel.shop]
name = "Counter"
[channel.post]
name = "By post"
"""

BATCH = (
    ["receive", "SUGAR", "55 lb", "--supplier", "MILL", "--supplier-lot", "S-1", "--lot", "SUG-1", "--cost", "23.00", "--day", "2026-02-02"],
    ["receive", "SYRUP", "12 kg 400 g", "--supplier", "MILL", "--lot", "SYR-1", "--cost", "28.75", "--day", "2026-02-02"],
    ["open", "LEMON", "--design", "SLICE", "--batch", "B1", "--day", DAY],
    ["cook", "B1", "--in", "SUG-1=8 kg 400 g", "--in", "SYR-1=5 kg", "--water", "2.5 kg", "--end", "310 F", "--out", "peel=3.45 kg", "--out",
     "clear=9.2 kg", "--lost", "kettle film=80 g", "--work", "AB=1 h 20 min", "--at", "K1", "--day", DAY],
    ["pull", "B1", "--in", "B1-C1", "--lost", "hook strings=15 g", "--work", "AB=14 min", "--day", DAY],
    ["build", "B1", "--work", "AB=46 min", "--day", DAY],
    ["roll", "B1", "--work", "CD=38 min", "--day", DAY],
    ["cut", "B1", "--out", "11.5 kg", "--pieces", "5180", "--reboil", "0.3 kg", "--lost", "ends=0.42 kg", "--lost", "crumbs=0.34 kg", "--work",
     "CD=26 min", "--day", DAY],
    ["sample", "B1-K1", "--pieces", "8", "--day", DAY],
    ["pack", "B1", "LEMON-JAR", "100", "--work", "CD=1 h 5 min", "--day", DAY],
    ["close", "B1", "--day", DAY],
    ["sell", "LEMON-JAR", "6", "--over", "shop", "--amount", "35.40", "--day", "2026-02-16"],
    ["ship", "LEMON-JAR", "20", "--to", "GIFTS", "--document", "S-1", "--amount", "70.80", "--day", "2026-02-17"],
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command said, and its exit code."""

    code: int
    out: str
    err: str

    @property
    def all(self) -> str:
        """Both streams as one line of single blanks."""
        return " ".join((self.out + self.err).split())


@dataclass(slots=True)
class Terminal:
    """`slabbook` as a person meets it: words in, exit code and both streams out."""

    path: Path
    _capture: Any

    def __call__(self, *words: str, code: int = 0, ledger: Path | None = None) -> Answer:
        """Run one command and check its exit code."""
        self._capture.readouterr()
        try:
            main(["--ledger", str(ledger or self.path), "--by", "AB", *words])
            found = 0
        except SystemExit as leave:
            found = int(leave.code or 0)
        streams = self._capture.readouterr()
        answer = Answer(found, streams.out, streams.err)
        assert found == code, answer
        return answer

    def root(self, path: Path | None = None) -> tuple[int, str]:
        """How many entries, and the tree head over them."""
        ledger = open_ledger(f"sqlite:///{path or self.path}", create=False)
        try:
            with ledger.store.read() as reader:
                head = reader.head
                return head.position, reader.root().hex()
        finally:
            ledger.close()

    def refused(self, *words: str, told: tuple[str, ...]) -> Answer:
        """The command leaves with 2, its message holds every one of these words, and nothing was written."""
        before = self.root()
        answer = self(*words, code=2)
        for word in told:
            assert word in answer.all, (word, answer)
        assert answer.out == ""
        assert self.root() == before
        return answer


def _made(tmp: Path, commands: tuple[list[str], ...]) -> Path:
    from click.testing import CliRunner

    from ledger.interfaces.cli.main import cli

    book, path = tmp / "book.toml", tmp / "ledger.sqlite"
    book.write_text(BOOK, encoding="utf-8")
    for words in (["book", "load", str(book)], *commands):
        result = CliRunner().invoke(cli, ["--ledger", str(path), "--by", "AB", *words], catch_exceptions=False)
        assert result.exit_code == 0, (words, result.output)
    return path


@pytest.fixture(scope="session")
def _stocked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _made(tmp_path_factory.mktemp("stocked"), BATCH[:2])


@pytest.fixture(scope="session")
def _lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _made(tmp_path_factory.mktemp("lived"), BATCH)


def _copy(source: Path, target: Path) -> Path:
    for end in ("", "-wal", "-shm"):
        if Path(f"{source}{end}").exists():
            shutil.copy(f"{source}{end}", f"{target}{end}")
    return target


@pytest.fixture
def stocked(_stocked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Terminal:
    """A book, sugar and syrup; no batch yet."""
    return Terminal(_copy(_stocked, tmp_path / "ledger.sqlite"), capsys)


@pytest.fixture
def lived(_lived: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Terminal:
    """One batch from the kettle to the jar, some jars sold."""
    return Terminal(_copy(_lived, tmp_path / "ledger.sqlite"), capsys)


@pytest.fixture(scope="session")
def _demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return invented_shop(tmp_path_factory, weeks=8)


@pytest.fixture
def demo(_demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Terminal:
    """Eight weeks of the invented shop."""
    return Terminal(_copy(_demo, tmp_path / "demo.sqlite"), capsys)
