"""How much to make for one season whose demand is uncertain: the newsvendor, continuous and in whole batches.

A missed kilo costs ``under``, a left kilo ``over``; the best quantity is the demand quantile under / (under + over)
(Arrow, Harris and Marschak 1951; formulas as in Snyder and Shen 2019, chapter 4). Demand is taken as normal here; the edge
hands in mean and standard deviation of the season's own calibrated sums, not sums of weekly bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

from ledger.errors import BadInput

STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class Quantity:
    """The best quantity, the share of seasons it covers and what not knowing demand costs in expectation."""

    quantity: float
    covers: float
    expected_cost: float


def critical_ratio(under: float, over: float) -> float:
    """Share of seasons to cover; BadInput unless both costs are above 0."""
    if under <= 0 or over <= 0:
        raise BadInput(
            f"a missed unit costs {under} and a left one {over}: both must be above 0 for a best quantity to exist",
            under=under, over=over,
        )  # fmt: skip
    return under / (under + over)


def normal_loss(z: float) -> float:
    """Expected shortfall of a standard normal over ``z``: phi(z) - z (1 - Phi(z))."""
    return max(0.0, STANDARD.pdf(z) - z * (1.0 - STANDARD.cdf(z)))


def expected_short(mean: float, sd: float, quantity: float) -> float:
    """E max(0, D - quantity) for normal demand; with sd 0 the plain difference."""
    if sd <= 0:
        return max(0.0, mean - quantity)
    return sd * normal_loss((quantity - mean) / sd)


def best_quantity(mean: float, sd: float, under: float, over: float) -> Quantity:
    """The newsvendor's quantity for normal demand and its expected cost (under + over) phi(z) sd."""
    ratio = critical_ratio(under, over)
    if sd <= 0:
        return Quantity(mean, ratio, 0.0)
    z = STANDARD.inv_cdf(ratio)
    return Quantity(mean + z * sd, ratio, (under + over) * STANDARD.pdf(z) * sd)


def best_uniform(low: float, high: float, under: float, over: float) -> float:
    """The same for demand equally likely anywhere between ``low`` and ``high``."""
    return low + critical_ratio(under, over) * (high - low)


def expected_profit(mean: float, sd: float, quantity: float, price: float, cost: float, salvage: float = 0.0) -> float:
    """Expected profit of a quantity: sold at ``price``, bought at ``cost``, left over at ``salvage``."""
    sold = mean - expected_short(mean, sd, quantity)
    return price * sold + salvage * (quantity - sold) - cost * quantity


def whole_batches(
    mean_g: int, sd_g: int, batch_g: int, missed_per_kg: int, material_per_kg: int, salvage_per_kg: int, most: int = 400
) -> int:
    """Batches to make when only whole ones can be made: the next one while it gains in expectation.

    The n-th batch sells m = E min(D, n batch) - E min(D, (n - 1) batch) and gains (missed - material) m -
    (material - salvage) (batch - m); m falls with n, so the first that loses ends it.
    """
    if batch_g <= 0:
        raise BadInput(f"a batch of {batch_g} g sells nothing: state what a batch gives", batch_g=batch_g)
    made, gain, loss = 0, missed_per_kg - material_per_kg, material_per_kg - salvage_per_kg
    while made < most:
        now, then = (expected_short(mean_g, sd_g, n * batch_g) for n in (made, made + 1))
        sells = now - then
        if gain * sells - loss * (batch_g - sells) <= 0:
            break
        made += 1
    return made


def sd_of_band(low_g: int, high_g: int, share: float = 0.8) -> int:
    """Standard deviation of the normal whose central ``share`` is the band low..high, in grams."""
    if high_g < low_g or not 0 < share < 1:
        raise BadInput(f"band {low_g} to {high_g} g holding {share:.0%} cannot be read", low=low_g, high=high_g)
    return round((high_g - low_g) / (2 * STANDARD.inv_cdf(0.5 + share / 2)))


def safety_stock(sd_g: int, service: float) -> int:
    """Grams to keep beyond the mean so that a week is covered in a share ``service`` of weeks."""
    if not 0 < service < 1:
        raise BadInput(
            f"a service level of {service} is not between 0 and 1: say 0.9 for nine weeks in ten", service=service
        )
    return max(0, round(STANDARD.inv_cdf(service) * sd_g))
