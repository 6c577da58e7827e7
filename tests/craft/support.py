"""A made-up shop's request for a batch sheet, and pictures made of nothing but geometry."""

from __future__ import annotations

import dataclasses
import io
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from ledger.craft.cook import Addition, ChargeLine, CookRecipe, KettleLimits, WorkStep
from ledger.craft.geometry import RodPlan
from ledger.craft.lots import LotOnHand
from ledger.craft.picture import PictureDesign, read_design
from ledger.craft.picture_legend import read_legend
from ledger.craft.sheet_request import PackSpec, SheetRequest
from ledger.craft.water import SiteConditions

DESIGNS = Path(__file__).resolve().parents[2] / "seeds" / "designs"
DESIGN_NAMES = sorted(path.stem for path in DESIGNS.glob("*.toml"))

CHARGE_A = (
    ChargeLine(material="granulated sugar", role="sugar", mass_mg=10_000_000, solids_ppm=1_000_000),
    ChargeLine(material="glucose syrup", role="syrup", mass_mg=6_000_000, solids_ppm=803_000),
    ChargeLine(material="water", role="water", mass_mg=3_000_000, solids_ppm=0),
)

RECIPE = CookRecipe(
    name="Peppermint",
    version=4,
    charge=CHARGE_A,
    additions=(
        Addition(material="citric acid", role="acid", ppm_of_cooked=8_000),
        Addition(material="peppermint oil", role="flavour", ppm_of_cooked=2_000),
    ),
    end_mc=152_000,
    steps=(
        WorkStep(name="Dissolve, wash down the kettle", seconds=900),
        WorkStep(name="Pull the white", seconds=420, from_mc=95_000, to_mc=75_000),
    ),
    allergens=("sulphites",),
)

LOTS = (
    LotOnHand(lot="S26-22", material="granulated sugar", mass_mg=25_000_000, best_before=date(2028, 6, 1)),
    LotOnHand(lot="S26-19", material="granulated sugar", mass_mg=3_200_000, best_before=date(2028, 1, 1)),
    LotOnHand(lot="G26-07", material="glucose syrup", mass_mg=9_000_000, best_before=date(2027, 3, 1)),
    LotOnHand(lot="A26-02", material="citric acid", mass_mg=500_000, best_before=date(2029, 3, 1)),
    LotOnHand(lot="F26-11", material="peppermint oil", mass_mg=10_000, best_before=date(2027, 9, 1)),
)


def seeded(name: str, size: int = 600) -> PictureDesign:
    """One of the designs that come with the program."""
    legend = (DESIGNS / f"{name}.toml").read_bytes()
    return read_design(legend, (DESIGNS / read_legend(legend).picture).read_bytes(), size)


def request(design: PictureDesign, **changes: Any) -> SheetRequest:
    """A request for 40 jars, with some fields changed."""
    base = SheetRequest(
        shop="Tidewater Sugar Works (demo)",
        batch="26-330A",
        address="HTTPS://SLABBOOK.EXAMPLE/B/26-330A",
        planned_for=date(2026, 11, 26),
        design=design,
        recipe=RECIPE,
        kettle=KettleLimits(name="copper 20 l", max_charge_mg=17_000_000, min_charge_mg=2_000_000),
        pack=PackSpec(name="jar", net_mg=200_000),
        sizes=RodPlan(
            log_um=180_000, rod_um=12_700, piece_um=12_700, rod_length_um=600_000, ends_um=20_000, max_log_um=450_000
        ),
        site=SiteConditions(altitude_m=320, boiling_water_mc=98_700),
        packs=40,
        lots=LOTS,
        previous_allergens=("milk", "sulphites"),
    )
    return dataclasses.replace(base, **changes)


LEGEND = """
name = "Ring"
version = 1
picture = "ring.png"
outside = "#ffffff"
jacket = "red"
pour_allowance_percent = 5
[portion.red]
colour = "#ff0000"
[portion.white]
colour = "#eeeeee"
pulled_percent = 100
[portion.pale]
colour = "#ffaaaa"
blend = { red = 1, white = 3 }
"""

RED, WHITE, PALE = (255, 0, 0), (238, 238, 238), (255, 170, 170)


def grid(size: int) -> tuple[np.ndarray, np.ndarray]:
    """Pixel centres of a square of side 2 about the origin: x to the right, y down."""
    y, x = (np.mgrid[:size, :size] + 0.5 - size / 2) / (size / 2)
    return x, y


def ring_picture(size: int = 400, jacket: float = 0.2, pale: float = 0.3) -> np.ndarray:
    """A red jacket round white, with a pale disc in the middle: radii as shares of the rod's radius."""
    x, y = grid(size)
    r = np.hypot(x, y)
    picture = np.full((size, size, 3), 255, dtype=np.uint8)
    picture[r <= 1] = RED
    picture[r <= 1 - jacket] = WHITE
    picture[r <= pale] = PALE
    return picture


def png(picture: np.ndarray) -> bytes:
    """Bytes of a PNG file."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, format="PNG")
    return out.getvalue()


def svg(body: str, box: str = "0 0 200 200") -> bytes:
    """Bytes of an SVG file."""
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}">{body}</svg>'.encode()
