"""Pictures and legends: what cannot be measured is refused with the way out, and no design reaches outside its folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.application import sheets
from ledger.application.designs import find_design, folders, read_bench
from ledger.application.ledger import Ledger
from ledger.application.sheets import Ask
from ledger.application.sheets_recipe import match, names_of
from ledger.craft.picture_legend import read_legend
from ledger.domain.books import entries as e
from ledger.errors import BadInput
from tests.application.sheets.support import LEMON, define, run
from tests.craft.support import LEGEND, RED, png, ring_picture


def own_design(ledger: Ledger, stem: str, legend: str, picture: bytes) -> None:
    """A design of the shop's own, in the folder beside its ledger."""
    place = folders(ledger)[0]
    place.mkdir(exist_ok=True)
    (place / f"{stem}.toml").write_text(legend)
    (place / "ring.png").write_bytes(picture)
    define(ledger, e.Design(id="OWN", name="Own ring", flavour="LEMON", picture=stem, log_um=150_000))


def soft(size: int = 400) -> bytes:
    """A ring with softened edges: shrunk from three times the size with averaging."""
    import numpy as np

    big = ring_picture(size * 3).astype(float)
    return png(big.reshape(size, 3, size, 3, 3).mean(axis=(1, 3)).round().astype(np.uint8))


def strange() -> bytes:
    """A ring with a patch of a colour that no portion has."""
    picture = ring_picture()
    picture[180:220, 180:220] = (0, 128, 0)
    return png(picture)


def open_rim() -> bytes:
    """A ring whose jacket is broken on one side."""
    picture = ring_picture()
    wedge = (picture == RED).all(axis=2)
    wedge[:, :200] = False
    wedge[:150] = wedge[250:] = False
    picture[wedge] = (238, 238, 238)
    return png(picture)


BAD_PICTURES = {
    "more colours than the legend": (LEGEND, strange, "colours that the legend gives to no portion"),
    "soft edges": (LEGEND, soft, "anti-aliasing off"),
    "no closed jacket": (LEGEND, open_rim, "of the rim"),
    "a colour without a portion": (LEGEND.replace('colour = "#ffaaaa"\n', ""), lambda: png(ring_picture()), "no portion"),
    "a portion nowhere painted": (LEGEND + '[portion.gold]\ncolour = "#123456"\n', lambda: png(ring_picture()), "nowhere in the picture"),
}  # fmt: skip


@pytest.mark.parametrize("what", sorted(BAD_PICTURES))
def test_a_picture_that_cannot_be_measured_is_refused_with_the_way_out(shop: Ledger, capsys, what: str):
    legend, picture, told = BAD_PICTURES[what]
    own_design(shop, "own", legend, picture())
    before = shop.queries.as_of()
    code, said = run(shop, capsys, "sheet", "OWN", "--packs", "40")
    assert code == 2 and told in said
    assert shop.queries.as_of() == before


def test_a_file_of_the_shops_own_hides_the_one_that_came_with_the_program(shop: Ledger):
    design = shop.book().get(e.Design, "LEMON-SLICE")
    shipped = find_design(folders(shop), design)
    own = folders(shop)[0]
    own.mkdir()
    (own / "lemon-slice.toml").write_bytes(shipped.legend.replace(b"version = 1", b"version = 2"))
    (own / "lemon-slice.png").write_bytes(shipped.picture)
    assert sheets.plan(shop, LEMON).sheet.design_version == 2


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "a/b"])
def test_a_design_cannot_reach_outside_its_folder(shop: Ledger, name: str):
    with pytest.raises(BadInput, match="without folders"):
        find_design(folders(shop), e.Design(id="X", name="X", picture=name))


def test_a_legend_cannot_reach_outside_its_folder(shop: Ledger):
    own_design(shop, "own", LEGEND.replace("ring.png", "../../ring.png"), b"")
    with pytest.raises(BadInput, match="without folders"):
        sheets.plan(shop, Ask(design="OWN", packs=40))


def test_the_folder_may_be_named_by_the_environment(shop: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("SLABBOOK_DESIGNS", str(tmp_path / "elsewhere"))
    assert folders(shop)[0] == tmp_path / "elsewhere"


def test_the_shops_own_limits_are_read_and_a_misspelt_one_is_refused(shop: Ledger):
    own = folders(shop)[0]
    own.mkdir()
    (own / "sheet.toml").write_text('least_line = "1/32 in"\nrod_length = "50 cm"\nloads = 3\n')
    bench = read_bench(folders(shop))
    assert (bench.least_line_um, bench.rod_length_um, bench.loads) == (794, 500_000, 3)
    assert any(flag.code == "thin-line" for flag in sheets.plan(shop, LEMON).sheet.flags)
    (own / "sheet.toml").write_text('least_lime = "1 mm"\n')
    with pytest.raises(BadInput, match="least_line"):
        sheets.plan(shop, LEMON)


def test_every_design_of_the_invented_shop_has_its_files_and_the_book_knows_its_dyes(shop: Ledger):
    materials = names_of(shop.book())
    for design in shop.book().all(e.Design):
        legend = read_legend(find_design(folders(shop), design).legend)
        assert [d.material for p in legend.portions for d in p.dyes if match(d.material, materials) is None] == []
