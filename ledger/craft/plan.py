"""Plan one batch: from the packs wanted to what to weigh, how hot, how much of each colour, how big a log.

This is the one door to the craft: ``plan_batch(SheetRequest) -> BatchSheet``. It reads no clock and no database; all it
knows is in the request.
"""

from __future__ import annotations

import base64

from ledger.craft import boiling, cook, density, geometry
from ledger.craft.density import Density
from ledger.craft.errors import OutOfRange, RecipeIncomplete
from ledger.craft.numbers import PPM, whole, within
from ledger.craft.picture_render import picture_png
from ledger.craft.portions import build_plan, portion_masses, pour_plan, section_density
from ledger.craft.process_yield import ProcessYield, recent_yield
from ledger.craft.sheet import (
    BatchSheet,
    CookPlan,
    Flag,
    SheetStep,
    SheetThinness,
    SizePlan,
    YieldPlan,
)
from ledger.craft.sheet_lines import Shelf, changeover_note
from ledger.craft.sheet_request import SheetRequest
from ledger.craft.thinness import measure_thinness
from ledger.craft.water import check_thermometer, water_boils_here

PICTURE_PIXELS = 600
WARM_ROOM_C = 35.0


def _pieces_wanted(request: SheetRequest, piece_mg: int) -> tuple[int, int]:
    """Pieces a pack, and pieces wanted in all."""
    pack = request.pack
    if (pack.net_mg > 0) == (pack.pieces > 0):
        raise OutOfRange(f"Pack `{pack.name}` needs either a net mass or a count of pieces above zero.")
    if (request.packs > 0) == (request.pieces > 0):
        raise OutOfRange("Say how many packs or how many pieces are wanted: one of them, above zero.")
    each = pack.pieces or -(-pack.net_mg // piece_mg)
    return each, request.pieces or request.packs * each


def _density_of(request: SheetRequest) -> Density:
    by_area = section_density(request.design, request.clear_kg_m3, request.pulled_kg_m3)
    return density.learned_density(request.weighings, density.assumed_density(by_area))


def _enough(request: SheetRequest, rho: Density, piece_mg: int, wanted: int, by_yield_mg: int) -> int:
    """Mass on the slab from which the wanted pieces can be cut: the yield's, or more where ends and pour allowance take more."""
    slab_mg = by_yield_mg
    for _ in range(12):
        portions = portion_masses(request.design, slab_mg, request.clear_kg_m3, request.pulled_kg_m3)
        log = geometry.plan_log(sum(portion.in_log_mg for portion in portions), rho.kg_m3, request.sizes)
        if log.pieces_cut >= wanted:
            break
        slab_mg += max((wanted - log.pieces_cut) * piece_mg, piece_mg)
    return slab_mg


def _cook_plan(request: SheetRequest, slab_mg: int) -> tuple[CookPlan, tuple[cook.ChargeLine, ...]]:
    recipe, site = request.recipe, request.site
    water = water_boils_here(site)
    mix = cook.solids_mix(recipe.charge, recipe.dextrose_equivalent)
    if recipe.end_mc is not None:
        end = boiling.corrected_end(recipe.end_mc, water.mc)
    elif recipe.moisture_ppm is not None:
        end = boiling.end_temperature(recipe.moisture_ppm, water.mc, mix)
    else:
        raise RecipeIncomplete(
            f"Recipe {recipe.name} version {recipe.version} says neither an end temperature nor a moisture: give one."
        )
    band = boiling.moisture_at(end, water.mc, mix)
    likely = band.likely_ppm if recipe.moisture_ppm is None else recipe.moisture_ppm
    low, high = min(band.low_ppm, likely), max(band.high_ppm, likely)
    added = sum(addition.ppm_of_cooked for addition in recipe.additions)
    cooked = whole(slab_mg * PPM / (PPM + added))
    charge = cook.scaled_charge(recipe.charge, cooked, likely)
    cook.check_dissolving(charge, water.mc / 1000)
    balance = cook.cook_balance(charge, likely)
    check = check_thermometer(site)
    return CookPlan(
        end_mc=end,
        end_sea_level_mc=end + 100_000 - water.mc,
        stage=boiling.stage_at(end + 100_000 - water.mc),
        water_boils_mc=water.mc,
        water_known_from=water.known_from,
        thermometer_error_mc=None if check is None else check.error_mc,
        moisture_ppm=likely,
        moisture_low_ppm=low,
        moisture_high_ppm=high,
        band_mc=band.band_mc,
        curve_source=band.source,
        charge_mg=balance.charge_mg,
        solids_mg=balance.solids_mg,
        cooked_mg=balance.cooked_mg,
        cooked_low_mg=cook.cook_balance(charge, low).cooked_mg,
        cooked_high_mg=cook.cook_balance(charge, high).cooked_mg,
        boiled_off_mg=balance.boiled_off_mg,
        slab_mg=slab_mg,
        loads_mg=cook.kettle_loads(balance.charge_mg, request.kettle),
        kettle=request.kettle.name,
    ), charge


def _sizes(
    request: SheetRequest, log_mg: int, rho: Density, each: int, wanted: int, good: int
) -> tuple[SizePlan, geometry.LogPlan]:
    sizes, design = request.sizes, request.design
    log = geometry.plan_log(log_mg, rho.kg_m3, sizes)
    thicker = geometry.one_step_thicker(log, sizes, request.rod_step_um, rho.kg_m3)
    good = min(good, log.pieces_cut)  # no more can be good than are cut
    packs = request.packs or good // each
    return SizePlan(
        log_um=sizes.log_um,
        rod_um=sizes.rod_um,
        piece_um=sizes.piece_um,
        rod_length_um=sizes.rod_length_um,
        ends_um=sizes.ends_um,
        ratio_ppm=log.ratio_ppm,
        logs=log.logs,
        log_length_um=log.log_length_um,
        usable_log_um=log.usable_log_um,
        jacket_log_um=whole(design.jacket_ppm * sizes.log_um / PPM),
        jacket_rod_um=whole(design.jacket_ppm * sizes.rod_um / PPM),
        drawn_um=log.drawn_um,
        rods=log.rods,
        pieces_per_rod=log.pieces_per_rod,
        pieces_cut=log.pieces_cut,
        density_kg_m3=rho.kg_m3,
        density_low_kg_m3=rho.low_kg_m3,
        density_high_kg_m3=rho.high_kg_m3,
        density_weighings=rho.weighings,
        piece_mg=log.piece_mg,
        piece_low_mg=geometry.piece_mass(sizes.rod_um, sizes.piece_um, rho.low_kg_m3),
        piece_high_mg=geometry.piece_mass(sizes.rod_um, sizes.piece_um, rho.high_kg_m3),
        thicker_rod_um=thicker.rod_um,
        thicker_piece_mg=thicker.piece_mg,
        thicker_pieces_cut=thicker.pieces_cut,
        pack=request.pack.name,
        pack_net_mg=request.pack.net_mg,
        pieces_per_pack=each,
        packs=packs,
        pieces_wanted=wanted,
        pieces_left_over=max(good - packs * each, 0),
    ), log


def _flags(by_yield_mg: int, cook_plan: CookPlan, thin: tuple[SheetThinness, ...], request: SheetRequest) -> list[Flag]:
    limit = request.least_line_um
    flags = []
    for item in thin:
        if item.line_um < limit:
            flags.append(Flag(code="thin-line", subject=item.title, value=item.line_um, limit=limit))
        if 0 < item.gap_um < limit:
            flags.append(Flag(code="thin-gap", subject=item.title, value=item.gap_um, limit=limit))
    if cook_plan.slab_mg > by_yield_mg:
        flags.append(Flag(code="ends-exceed-yield", subject="", value=cook_plan.slab_mg, limit=by_yield_mg))
    softens = density.glass_softens_at(cook_plan.moisture_high_ppm)
    if softens < WARM_ROOM_C:
        flags.append(Flag(code="soft-glass", subject="", value=whole(softens * 1000), limit=whole(WARM_ROOM_C * 1000)))
    check = check_thermometer(request.site)
    if check is not None and check.doubtful:
        flags.append(Flag(code="thermometer-doubtful", subject=check.expected_from, value=check.error_mc, limit=1500))
    return flags


def plan_batch(request: SheetRequest) -> BatchSheet:
    """Plan a batch and everything its sheet prints.

    Raises:
        OutOfRange, AltitudeUnknown, ThermometerDoubtful, KettleTooSmall, LoadTooSmall, NotEnoughWater,
        RecipeIncomplete: each names the value, the limit and the way out.
    """
    within("the least line", request.least_line_um, 0, 10_000, "micrometres", "Half a millimetre is a usual limit.")
    recipe, design = request.recipe, request.design
    rho = _density_of(request)
    piece_mg = geometry.piece_mass(request.sizes.rod_um, request.sizes.piece_um, rho.kg_m3)
    if piece_mg <= 0:
        raise OutOfRange(f"A piece {request.sizes.piece_um} micrometres long weighs nothing: give its length.")
    each, wanted = _pieces_wanted(request, piece_mg)
    history: ProcessYield = recent_yield(request.yields, recipe.process_yield_ppm, recipe.process_yield_spread_ppm)
    planned_on = history.low_ppm if request.plan_on_low_yield else history.likely_ppm
    by_yield_mg = -(-wanted * piece_mg * PPM // planned_on)
    slab_mg = _enough(request, rho, piece_mg, wanted, by_yield_mg)
    cook_plan, charge = _cook_plan(request, slab_mg)

    def good_pieces(yield_ppm: int) -> int:
        return slab_mg * yield_ppm // PPM // piece_mg

    portions = portion_masses(design, slab_mg, request.clear_kg_m3, request.pulled_kg_m3)
    pours = pour_plan(design.legend, portions)
    log_mg = sum(portion.in_log_mg for portion in portions)
    sizes, log = _sizes(request, log_mg, rho, each, wanted, good_pieces(history.likely_ppm))
    titles = {portion.key: portion.title for portion in design.legend.portions}
    thin = tuple(
        SheetThinness(
            portion=item.portion,
            title=titles[item.portion],
            line_um=item.line_um(request.sizes.rod_um),
            gap_um=item.gap_um(request.sizes.rod_um),
        )
        for item in measure_thinness(design)
    )
    shelf = Shelf(request.lots, request.planned_for)
    charge_lines = tuple(
        shelf.line(f"charge:{line.material}", line.material, line.role, line.mass_mg, cook_plan.loads_mg)
        for line in charge
    )
    additions = tuple(
        shelf.line(
            f"addition:{item.material}",
            item.material,
            item.role,
            whole(cook_plan.cooked_mg * item.ppm_of_cooked / PPM),
        )
        for item in recipe.additions
    )
    dye_total: dict[str, int] = {}
    for pour in pours:
        for material, mass in pour.dyes:
            dye_total[material] = dye_total.get(material, 0) + mass
    dyes = tuple(shelf.line(f"dye:{name}", name, "colour", mass) for name, mass in dye_total.items())
    return BatchSheet(
        shop=request.shop,
        batch=request.batch,
        address=request.address,
        planned_for=request.planned_for.isoformat(),
        flavour=recipe.name,
        recipe_version=recipe.version,
        design=design.legend.name,
        design_version=design.legend.version,
        cook=cook_plan,
        process_yield=YieldPlan(
            likely_ppm=history.likely_ppm,
            low_ppm=history.low_ppm,
            high_ppm=history.high_ppm,
            batches=history.batches,
            good_pieces=min(good_pieces(history.likely_ppm), log.pieces_cut),
            good_pieces_low=min(good_pieces(history.low_ppm), log.pieces_cut),
            good_pieces_high=min(good_pieces(history.high_ppm), log.pieces_cut),
        ),
        sizes=sizes,
        charge=charge_lines,
        additions=additions,
        dyes=dyes,
        portions=portions,
        pours=pours,
        build=build_plan(design.legend, log.log_length_um),
        steps=tuple(
            SheetStep(title=step.name, seconds=step.seconds, from_mc=step.from_mc, to_mc=step.to_mc)
            for step in recipe.steps
        ),
        thinness=thin,
        allergens=recipe.allergens,
        changeover=changeover_note(request.previous_allergens, recipe.allergens),
        flags=tuple(dict.fromkeys((*shelf.flags, *_flags(by_yield_mg, cook_plan, thin, request)))),
        picture_png_base64=base64.b64encode(picture_png(design, PICTURE_PIXELS)).decode("ascii"),
    )
