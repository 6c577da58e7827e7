"""Density by the mixing rule and learned from weighings; softening by Gordon-Taylor."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.craft.density import (
    PieceWeighing,
    assumed_density,
    glass_softens_at,
    learned_density,
    mixed_density,
    pulled_density,
)
from ledger.craft.errors import OutOfRange


@pytest.mark.parametrize(("share", "density"), [(300_000, 1_364.7), (400_000, 1_338.5), (0, 1_450), (1_000_000, 1_200)])
def test_a_part_pulled_portion_has_the_mixed_density(share, density):
    # Worked by hand with 1/sum(w/rho), clear 1.45 and pulled 1.20 g/cm3 (common practice, no source for the pulled).
    assert pulled_density(share) == pytest.approx(density, abs=0.06)


def test_aeration_of_fully_pulled_sugar():
    # Overrun = clear / pulled - 1 = 20.8 %.
    assert pulled_density(0) / pulled_density(1_000_000) - 1 == pytest.approx(0.208, abs=0.0005)


@pytest.mark.parametrize(
    ("moisture", "softens"), [(0, 62.0), (10_000, 53.1), (20_000, 44.8), (30_000, 37.0), (40_000, 29.7), (50_000, 22.9)]
)
def test_softening_follows_gordon_taylor(moisture, softens):
    # Gordon-Taylor with Tg 62 C and -135 C, k = 4.7 (Roos and Karel, from memory), worked by hand to 0.1 C.
    assert glass_softens_at(moisture) == pytest.approx(softens, abs=0.05)


ASSUMED = assumed_density(1_400)


def test_an_unweighed_density_has_a_wide_band():
    assert (ASSUMED.low_kg_m3, ASSUMED.kg_m3, ASSUMED.high_kg_m3, ASSUMED.weighings) == (1_316, 1_400, 1_484, 0)


def test_no_candy_is_denser_than_crystal_sugar():
    # Source: crystalline sucrose 1.588 g/cm3 (CRC Handbook, from memory).
    assert assumed_density(1_580).high_kg_m3 == 1_588


def weighing(piece_g: float, pieces: int = 100) -> PieceWeighing:
    return PieceWeighing(mass_mg=round(piece_g * 1000 * pieces), pieces=pieces, rod_um=12_700, length_um=12_700)


def test_two_weighings_do_not_move_the_assumed_density():
    assert learned_density([weighing(2.3)] * 2, ASSUMED) is ASSUMED


def test_density_is_learned_from_three_weighings():
    # A half-inch piece has 1.6088 cm3: 2.091 / 2.252 / 2.333 g at 1.30 / 1.40 / 1.45 g/cm3, worked by hand.
    learned = learned_density([weighing(2.091), weighing(2.252), weighing(2.333)], ASSUMED)
    assert learned.kg_m3 == pytest.approx(1_383, abs=1)
    assert learned.weighings == 3
    assert learned.low_kg_m3 < 1_300 and learned.high_kg_m3 > 1_450


@pytest.mark.parametrize("pieces", [80, 250])
def test_a_miscount_is_refused(pieces):
    with pytest.raises(OutOfRange, match="Count again"):
        learned_density([PieceWeighing(mass_mg=225_200, pieces=pieces, rod_um=12_700, length_um=12_700)], ASSUMED)


def test_nothing_to_mix_is_refused():
    with pytest.raises(OutOfRange, match="shares of zero or more"):
        mixed_density([(0, 1_450)])


@given(st.lists(st.tuples(st.floats(0.01, 10), st.floats(1_000, 1_600)), min_size=1, max_size=6))
def test_a_mix_is_never_denser_than_its_densest_part(parts):
    densities = [rho for _, rho in parts]
    assert min(densities) - 1e-6 <= mixed_density(parts) <= max(densities) + 1e-6
