"""One believable event of every stored name: a lemon batch of an invented shop, from the delivery to the jar that came back.

The samples are the examples of the reference pages, and each is kept as a golden file when its shape is released, so that a later
program still reads it. The figures agree with one another: what one step makes the next one takes, and every movement balances.
"""

from __future__ import annotations

from typing import Any

from ledger.domain.batch import events as b
from ledger.domain.books import entries as e
from ledger.domain.books import events as bk
from ledger.domain.lots import events as lo
from ledger.domain.parts import ALL, DERIVED, NOMINAL, SHARE, Flag, Give, Loss, Take, Work
from ledger.domain.season import events as se
from ledger.domain.shelf import events as sh
from ledger.domain.stored_names import name_of

DAY = "2026-02-14"
_BATCH = "26045A"
_SAME: dict[str, Any] = {"day": DAY, "batch": _BATCH, "flavour": "LEMON", "design": "LEMON-SLICE"}
_HANDS = (Work(worker="AB", seconds=2_280, rate=1_800), Work(worker="CD", seconds=2_280, rate=1_550))

_BOOK: tuple[Any, ...] = (
    bk.SiteDefined(day="2026-01-02", version=1, entry=e.Site(
        id="LOFT", name="The sugar loft", zone="Europe/Dublin", altitude_m=12, address="3 Ropewalk Steps, Kessenhaven")),
    bk.MaterialDefined(day="2026-01-02", version=1, entry=e.Material(
        id="SYRUP", name="Glucose syrup", role="syrup", solids_ppm=803_000, density_g_per_l=1_410, label="glucose syrup", cost=115,
        shelf_days=540, supplier="DUNMOR", lead_days=7, pack_mg=25_000_000)),
    bk.FlavourDefined(day="2026-01-02", version=1, entry=e.Flavour(id="LEMON", name="Sharp lemon", colour="yellow")),
    bk.DesignDefined(day="2026-01-02", version=1, entry=e.Design(id="LEMON-SLICE", name="Lemon slice", flavour="LEMON", piece_mg=2_220)),
    bk.RecipeDefined(day="2026-01-02", version=2, entry=e.Recipe(
        id="LEMON", flavour="LEMON", end_temperature_mc=154_000, process_yield_ppm=905_000, reboil_max_ppm=50_000,
        lines=(e.RecipeLine(material="SUGAR", mass_mg=8_400_000), e.RecipeLine(material="SYRUP", mass_mg=5_000_000),
               e.RecipeLine(material="CITRIC", mass_mg=110_000), e.RecipeLine(material="LEMONOIL", mass_mg=14_000),
               e.RecipeLine(material="TURMERIC", mass_mg=3_000, portion="peel")),
        steps=(e.StepTime(step="cook", seconds=3_300, people=2), e.StepTime(step="build", seconds=2_760, people=2)))),
    bk.PackDefined(day="2026-01-02", version=1, entry=e.Pack(
        id="LEMON-JAR", name="Sharp lemon, jar", flavour="LEMON", design="LEMON-SLICE", net_mg=113_000, price=590, container="jar",
        display_minimum=6)),
    bk.WorkerDefined(day="2026-01-02", version=1, entry=e.Worker(
        id="AB", rate=1_800, skills=("cook", "pull", "build", "roll", "cut"), week_seconds=126_000)),
    bk.StationDefined(day="2026-01-02", version=1, entry=e.Station(id="K1", kind="kettle", name="Big kettle", max_mg=18_000_000, min_mg=6_000_000)),
    bk.FeastDefined(day="2026-01-02", version=1, entry=e.Feast(id="MIDWINTER", name="Midwinter market", rule="12-21")),
    bk.PartnerDefined(day="2026-01-02", version=1, entry=e.Partner(id="GIFTS", role="customer", channel="wholesale")),
    bk.ChannelDefined(day="2026-01-02", version=1, entry=e.Channel(id="shop", name="The shop counter")),
    bk.PlanningDefined(day="2026-01-02", version=1, entry=e.Planning(
        id="SEASON", making_ppm=700_000, overtime_cost=2_700, overtime_seconds=5_400, helper_cost=9_000, helper_shift_seconds=21_600, helper_shifts=3,
        store_mg=450_000_000, salvage_ppm=200_000, source="wage table of the town, measured shelves")),
)  # fmt: skip

_LOTS: tuple[Any, ...] = (
    lo.LotReceived(
        day="2026-02-02", partner="DUNMOR", supplier_lot="D4471", document="DN-0831", carrier="DUNMOR van",
        gives=(Give(lot="M26033-1", kind="material", item="SUGAR", mass_mg=25_000_000, cost=2_300, best_before="2028-06-01", entered="25 kg"),)),
    lo.LotCounted(
        day="2026-02-21", lot="26045A-J1", kind="packs", item="LEMON-JAR", flavour="LEMON", design="LEMON-SLICE", counted="packs", found_packs=85,
        takes=(Take(lot="26045A-J1", packs=1, pieces=50, mass_mg=113_000, cost=120, basis=SHARE),),
        flags=(Flag(code="count", text="26045A-J1: counted 85, the books said 86"),)),
    lo.LotSampled(**_SAME, partner="tasting", takes=(Take(lot="26045A-K1", pieces=8, mass_mg=17_761, cost=20, basis=SHARE),)),
    lo.LotScrapped(
        **_SAME | {"day": "2026-02-20"}, partner="broken", note="jar dropped at the counter",
        takes=(Take(lot="26045A-J1", packs=1, pieces=50, mass_mg=113_000, cost=120, basis=SHARE),)),
    lo.LotsHeld(day="2026-02-18", lots=("26045A-J1",), reason="labels to be checked"),
    lo.LotsReleased(day="2026-02-19", lots=("26045A-J1",), reason="labels are right"),
)  # fmt: skip

_FLOOR: tuple[Any, ...] = (
    b.ThermometerChecked(day=DAY, station="K1", reading_mc=99_500, expected_mc=99_900, reading="99.5 C", by="AB"),
    b.BatchSheetIssued(day=DAY, batch=_BATCH, flavour="LEMON", design="LEMON-SLICE", sheet={
        "format": 1, "kettles": 1, "end_temperature_mc": 154_000, "lines": [{"material": "SUGAR", "mass_mg": 8_400_000}]}),
    b.BatchOpened(**_SAME, recipe="LEMON", recipe_version=2, end_temperature_mc=154_000, process_yield_ppm=905_000, piece_mg=2_220,
                  plan_line="P-2026-1/LEMON/2026-W07/1"),
    b.Cooked(
        **_SAME, station="K1", water_mg=2_500_000, evaporated_mg=3_297_000, theory_mg=3_229_041, end_temperature_mc=154_000, end_temperature="154 C",
        takes=(Take(lot="M26033-1", mass_mg=8_400_000, solids_ppm=1_000_000, cost=773, entered="8.4 kg"),
               Take(lot="M26033-2", mass_mg=5_000_000, solids_ppm=803_000, cost=575, entered="5 kg"),
               Take(lot="M26033-3", mass_mg=110_000, solids_ppm=1_000_000, cost=46, entered="110 g"),
               Take(lot="M26033-4", mass_mg=14_000, solids_ppm=1_000_000, cost=87, entered="14 g"),
               Take(lot="M26033-5", mass_mg=3_000, solids_ppm=1_000_000, cost=20, portion="peel", entered="3 g")),
        gives=(Give(lot="26045A-C1", kind="mass", mass_mg=3_450_000, portion="peel", colour="yellow", treatment="clear", cost=425, entered="3.45 kg"),
               Give(lot="26045A-C2", kind="mass", mass_mg=3_750_000, portion="pith", treatment="clear", cost=439, entered="3.75 kg"),
               Give(lot="26045A-C3", kind="mass", mass_mg=5_450_000, portion="clear", treatment="clear", cost=637, entered="5.45 kg")),
        losses=(Loss(cause="kettle film", mass_mg=80_000, entered="80 g"),),
        work=(Work(worker="AB", seconds=3_300, rate=1_800), Work(worker="CD", seconds=3_300, rate=1_550)),
        started="2026-02-14T08:10+00:00", ended="2026-02-14T09:05+00:00"),
    b.Pulled(
        **_SAME, station="HOOK", takes=(Take(lot="26045A-C2", mass_mg=3_750_000, cost=439, basis=ALL),),
        gives=(Give(lot="26045A-P1", kind="mass", mass_mg=3_735_000, portion="pith", colour="white", treatment="pulled", cost=439, basis=DERIVED),),
        losses=(Loss(cause="hook strings", mass_mg=15_000, entered="15 g"),), work=(Work(worker="AB", seconds=840, rate=1_800),)),
    b.Blended(
        **_SAME, station="SLAB",
        takes=(Take(lot="26045A-P1", mass_mg=400_000, cost=47, entered="400 g"), Take(lot="26045A-C1", mass_mg=450_000, cost=55, entered="450 g")),
        gives=(Give(lot="26045A-P2", kind="mass", mass_mg=850_000, portion="rind", colour="pale yellow", treatment="blended", cost=102, basis=DERIVED),)),
    b.Built(
        **_SAME, station="SLAB", diameter_um=203_200, length_um=288_000,
        takes=(Take(lot="26045A-C1", mass_mg=3_000_000, cost=370, basis=ALL), Take(lot="26045A-C3", mass_mg=5_450_000, cost=637, basis=ALL),
               Take(lot="26045A-P1", mass_mg=3_335_000, cost=392, basis=ALL), Take(lot="26045A-P2", mass_mg=850_000, cost=102, basis=ALL)),
        gives=(Give(lot="26045A-L1", kind="log", mass_mg=12_635_000, cost=1_501, basis=DERIVED),), work=_HANDS),
    b.Rolled(
        **_SAME, station="BELT", diameter_um=12_700, takes=(Take(lot="26045A-L1", mass_mg=12_635_000, cost=1_501, basis=ALL),),
        gives=(Give(lot="26045A-R1", kind="rods", mass_mg=12_635_000, cost=1_501, basis=DERIVED),), work=_HANDS),
    b.Cut(
        **_SAME, station="BLOCK", piece_um=12_700, takes=(Take(lot="26045A-R1", mass_mg=12_635_000, cost=1_501, basis=ALL),),
        gives=(Give(lot="26045A-K1", kind="pieces", mass_mg=11_500_000, pieces=5_180, cost=1_448, entered="11.5 kg"),
               Give(lot="26045A-B1", kind="reboil", mass_mg=420_000, cost=53, entered="420 g")),
        losses=(Loss(cause="ends", mass_mg=200_000), Loss(cause="crumbs", mass_mg=130_000), Loss(cause="picture", mass_mg=310_000)),
        unexplained_mg=75_000, work=_HANDS),
    b.Packed(
        **_SAME, station="BENCH", pack="LEMON-JAR", net_mg=113_000,
        takes=(Take(lot="26045A-K1", mass_mg=10_848_000, pieces=4_886, cost=1_366, basis=NOMINAL),),
        gives=(Give(lot="26045A-J1", kind="packs", item="LEMON-JAR", mass_mg=10_848_000, pieces=4_886, packs=96, cost=1_366, best_before="2027-02-14",
                    basis=DERIVED),),
        work=(Work(worker="CD", seconds=3_900, rate=1_550),)),
    b.BatchClosed(
        **_SAME, takes=(Take(lot="26045A-R1", basis=ALL), Take(lot="26045A-L1", basis=ALL)), note="all packed, the loose ones go to the tasting tray"),
    b.Worked(day=DAY, task="cleaning", station="SLAB", work=(Work(worker="CD", seconds=1_500, rate=1_550),)),
    b.FlagAnswered(day="2026-02-22", origin=44, code="count", answer="the jar stood in the window"),
    b.Amended(
        day="2026-02-16", origin=31, corrects="019c5e0a-6f00-7b4e-9d3e-0c0f5a1b2c3d", name="batch.worked", schema=1, reason="the clock was an hour fast",
        data={"day": DAY, "task": "cleaning", "station": "SLAB", "work": [{"worker": "CD", "seconds": 2_400, "rate": 1_550}]}),
    b.Voided(day="2026-02-16", origin=33, corrects="019c5e0a-7a10-7c11-8f00-5b6a7c8d9e0f", reason="entered twice"),
)  # fmt: skip

_SHELF: tuple[Any, ...] = (
    sh.Sold(
        day="2026-02-17", flavour="LEMON", design="LEMON-SLICE", pack="LEMON-JAR", channel="shop", money=3_540,
        takes=(Take(lot="26045A-J1", packs=6, pieces=305, mass_mg=678_000, cost=85, basis=SHARE),)),
    sh.Shipped(
        day="2026-02-18", flavour="LEMON", design="LEMON-SLICE", pack="LEMON-JAR", partner="GIFTS", channel="wholesale", money=1_416,
        document="S-104", carrier="own van", takes=(Take(lot="26045A-J1", packs=4, pieces=204, mass_mg=452_000, cost=57, basis=SHARE),)),
    sh.Returned(
        day="2026-02-20", flavour="LEMON", design="LEMON-SLICE", pack="LEMON-JAR", channel="online", money=-590, note="parcel came back",
        gives=(Give(lot="26045A-J1", kind="packs", item="LEMON-JAR", packs=1, pieces=51, mass_mg=113_000, basis=NOMINAL),)),
    sh.RanOut(day="2026-02-27", flavour="LEMON", channel="shop", until_day="2026-02-28", note="none left by noon"),
    sh.PromotionPlanned(day="2026-02-01", from_day="2026-03-02", to_day="2026-03-08", flavour="LEMON", channel="shop", note="lemon week at the counter"),
)  # fmt: skip

_PAPERS: tuple[Any, ...] = (
    se.ForecastIssued(
        day="2026-02-16", forecast="F-2026-W08", origin_week="2026-W08", as_of=44, method="pooled quasi-Poisson, conformal bands; thousandths of a pack",
        lines=({"level": "flavour", "flavour": "LEMON", "channel": "*", "model": "pooled", "from_week": "2026-W08", "mean": [61_200, 63_900],
                "p10": [47_000, 48_800], "p90": [77_500, 81_000]},)),
    se.OverrideMade(
        day="2026-02-16", forecast="F-2026-W08", level="flavour", key="LEMON", week="2026-W09", units=90, model_units=64,
        reason="a wedding has asked for thirty jars"),
    se.PlanAdopted(
        day="2026-02-16", plan="P-2026-1", as_of=45, frozen_until="2026-W08", cost=48_210, bound=47_655, method="highs",
        lines=({"item": "LEMON", "flavour": "LEMON", "design": "LEMON-SLICE", "label": "2026-W09", "week": 1, "batches": 1, "grams": 11_500,
                "frozen": 0, "days": [2], "plan_lines": ["P-2026-1/LEMON/2026-W09/1"]},),
        settings={"settings": {"service_ppm": 950_000}, "words": ["One batch of sharp lemon on Tuesday carries two weeks."]}),
    se.RecallStarted(
        day="2026-02-24", recall="R-2026-1", lot="M26033-4", reason="the maker of the oil names an allergen that our label does not", drill=False,
        lots=("26045A-J1",), started_at="2026-02-24T10:00:00.000000Z"),
    se.RecallNoted(day="2026-02-24", recall="R-2026-1", kind="called", partner="GIFTS", text="told to put LEMON-JAR aside"),
    se.RecallClosed(
        day="2026-03-05", recall="R-2026-1", accounted_ppm=927_083, figures={"made": 96, "on_hand": 85, "returned": 4, "sold_not_returned": 7},
        closed_at="2026-03-05T16:30:00.000000Z"),
)  # fmt: skip

SAMPLES: tuple[Any, ...] = (*_BOOK, *_LOTS, *_FLOOR, *_SHELF, *_PAPERS)
"""Every stored event once, in the order a shop would meet them."""

SAMPLE_OF: dict[str, Any] = {name_of(type(event)): event for event in SAMPLES}
"""The sample of a stored name."""
