"""What a batch sheet is planned from: one request, everything in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ledger.craft.cook import CookRecipe, KettleLimits
from ledger.craft.density import CLEAR_KG_M3, PULLED_KG_M3, PieceWeighing
from ledger.craft.geometry import RodPlan
from ledger.craft.lots import LotOnHand
from ledger.craft.picture import PictureDesign
from ledger.craft.process_yield import BatchYield
from ledger.craft.water import SiteConditions


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSpec:
    """A pack: its name, and either its net mass or its count of pieces (one of them above zero)."""

    name: str
    net_mg: int = 0
    pieces: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRequest:
    """All that a sheet is planned from.

    Attributes:
        packs / pieces: what is wanted; give one of them.
        plan_on_low_yield: size the batch so that even the low end of the yield band gives the packs.
        yields: finished batches of this flavour, oldest first. weighings: counted and weighed pieces of this design.
        least_line_um: thinnest line or gap the shop still trusts in a rod.
        rod_step_um: one step of the rod gauge, for the sensitivity line.
        previous_allergens: of the batch before on this slab; ``None`` when it is not known.
        address: what the QR code opens; shop, batch, planned_for: as printed.
    """

    shop: str
    batch: str
    address: str
    planned_for: date
    design: PictureDesign
    recipe: CookRecipe
    kettle: KettleLimits
    pack: PackSpec
    sizes: RodPlan
    site: SiteConditions
    packs: int = 0
    pieces: int = 0
    plan_on_low_yield: bool = False
    yields: Sequence[BatchYield] = ()
    weighings: Sequence[PieceWeighing] = ()
    lots: Sequence[LotOnHand] = ()
    previous_allergens: tuple[str, ...] | None = None
    least_line_um: int = 400
    rod_step_um: int = 794
    clear_kg_m3: int = CLEAR_KG_M3
    pulled_kg_m3: int = PULLED_KG_M3
