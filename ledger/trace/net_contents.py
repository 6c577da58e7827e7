"""Is there enough in the jar? Checks of net contents: NIST Handbook 133 (category A) and the European average system.

Both work on weighed nets in whole milligrams. They are the packer's own check; an inspector's verdict counts, and the
tables must be compared with the edition in force where you sell.

Sources: NIST Handbook 133, tables 2-1 and 2-5 (typed from memory; read in print: the row of 113 g, 7.2 g; worked out again in the tests: the factors
from Student's t, and that every row's grams are its pounds); Directive 76/211/EEC
annexes I and II and UK SI 2006/659 schedule 2 (tolerable errors to 1 kg and factors read; acceptance numbers from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean, stdev

from ledger.errors import BadInput

MG_PER_G = 1000

CATEGORY_A: tuple[tuple[int, int, float, int], ...] = (
    (2, 2, 8.984, 0), (3, 3, 2.484, 0), (4, 4, 1.591, 0), (5, 5, 1.241, 0), (6, 6, 1.050, 0), (7, 7, 0.925, 0),
    (8, 8, 0.836, 0), (9, 9, 0.769, 0), (10, 10, 0.715, 0), (11, 11, 0.672, 0), (250, 12, 0.635, 0), (3200, 24, 0.422, 0),
)  # fmt: skip
"""Handbook 133 table 2-1: (largest lot, sample, sample correction factor, packages that may exceed the MAV)."""
CATEGORY_A_LARGEST = (48, 0.291, 1)

MAV_G: tuple[tuple[int, float], ...] = (
    (54, 3.6), (81, 5.4), (117, 7.2), (154, 9.0), (208, 10.8), (263, 12.7), (317, 14.5), (381, 16.3), (426, 18.1),
    (489, 19.9), (571, 21.7), (635, 23.5), (698, 25.4), (771, 27.2), (852, 29.0), (970, 31.7), (1120, 35.3), (1250, 39.0),
    (1450, 42.6), (1760, 49.8), (2130, 54.4), (2630, 63.5), (3080, 68.0), (3580, 77.1), (4260, 86.1), (5300, 99.7),
    (6480, 113), (8020, 127), (10520, 140), (14330, 167), (19230, 199), (24670, 226),
)  # fmt: skip
"""Handbook 133 table 2-5: (label below, maximum allowable variation), both in grams; 10 % below 36 g, 2 % from 24.67
kg."""

EU_REFERENCE: tuple[tuple[int, int, int, float], ...] = ((99, 0, 0, 0.0), (500, 30, 30, 0.503), (3200, 50, 50, 0.379))
EU_LARGEST = (80, 50, 0.379)
EU_ACCEPT = {30: (1, 3, 60, 4), 50: (2, 5, 100, 6), 80: (3, 7, 160, 8)}
"""First sample: (accept up to, refuse from, size of both samples together, accept up to for both together)."""
EU_DESTRUCTIVE = (20, 0.640, 1)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a check found. Masses in milligrams; ``reasons`` is empty when it passes, and each reason names its
    figures."""

    passes: bool
    reasons: tuple[str, ...]
    mean_error_mg: float
    spread_mg: float
    limit_mg: float
    worst_mg: int
    short: int
    second_sample: int = 0


def mav_mg(label_mg: int) -> int:
    """Maximum allowable variation of a package labelled ``label_mg`` (Handbook 133 table 2-5), milligrams.

    Raises:
        BadInput: a label of nothing.
    """
    if label_mg <= 0:
        raise BadInput(f"A label of {label_mg} mg says nothing; give the net weight declared.", value=label_mg)
    if label_mg < 36 * MG_PER_G:
        return label_mg // 10
    for below, mav in MAV_G:
        if label_mg < below * MG_PER_G:
            return round(mav * MG_PER_G)
    return label_mg // 50


def category_a_plan(lot_size: int) -> tuple[int, float, int]:
    """(packages to weigh, sample correction factor, packages that may exceed the MAV) for an inspection lot.

    In a lot of one the package is weighed and the factor does not apply.
    """
    if lot_size < 1:
        raise BadInput(f"An inspection lot has at least one package, not {lot_size}.", value=lot_size)
    if lot_size == 1:
        return 1, 0.0, 0
    for largest, sample, factor, allowed in CATEGORY_A:
        if lot_size <= largest:
            return sample, factor, allowed
    return CATEGORY_A_LARGEST


def check_category_a(label_mg: int, nets_mg: Sequence[int], lot_size: int) -> Verdict:
    """NIST Handbook 133, section 2.3, category A: both the average and the single packages must pass.

    Average: the mean error is at least minus the sample error limit (spread times the sample correction factor).
    Single: no more packages than the plan allows are short by *more than* the MAV.

    Raises:
        BadInput: not as many packages weighed as the plan wants.
    """
    sample, factor, allowed = category_a_plan(lot_size)
    if len(nets_mg) != sample:
        raise BadInput(
            f"For a lot of {lot_size} packages {sample} are weighed, not {len(nets_mg)} (Handbook 133 table 2-1).",
            wanted=sample,
            given=len(nets_mg),
        )
    errors = [net - label_mg for net in nets_mg]
    middle = mean(errors)
    spread = stdev(errors) if sample > 1 else 0.0
    limit = spread * factor
    mav = mav_mg(label_mg)
    short = sum(1 for e in errors if e < -mav)
    reasons = []
    if middle < 0 and -middle > limit:
        reasons.append(f"the mean is {_g(-middle)} under the label, more than the limit of {_g(limit)}")
    if short > allowed:
        reasons.append(f"{short} packages are short by more than {_g(mav)} ({allowed} allowed)")
    return Verdict(not reasons, tuple(reasons), middle, spread, limit, min(errors), short)


def tolerable_error_mg(nominal_mg: int) -> int:
    """Tolerable negative error of a nominal quantity of 5 g to 10 kg (Directive 76/211/EEC annex I), milligrams.

    Percentages are rounded up to the next tenth of a gram.

    Raises:
        BadInput: outside 5 g to 10 kg.
    """
    if not 5_000 <= nominal_mg <= 10_000_000:
        raise BadInput(f"The average system covers 5 g to 10 kg, not {_g(nominal_mg)}.", value=nominal_mg)
    bands = (
        (50, 90, 0),
        (100, 0, 4_500),
        (200, 45, 0),
        (300, 0, 9_000),
        (500, 30, 0),
        (1000, 0, 15_000),
        (10_000, 15, 0),
    )
    for to_g, per_mille, fixed in bands:
        if nominal_mg <= to_g * MG_PER_G:
            return fixed or math.ceil(nominal_mg * per_mille / 1000 / 100) * 100
    raise AssertionError("unreachable: the bands cover the range checked above")


def check_average_system(
    nominal_mg: int, nets_mg: Sequence[int], batch_size: int, *, destructive: bool = False
) -> Verdict:
    """The reference test of Directive 76/211/EEC annex II for one batch: mean, packages below T1, none below T2.

    Batches under 100 are weighed whole. ``second_sample`` above 0 says that so many packages must be weighed together
    before a verdict (then ``passes`` is False for the time being); give them all at once in the next call.

    Raises:
        BadInput: not as many packages weighed as the plan wants.
    """
    error = tolerable_error_mg(nominal_mg)
    first, n_mean, factor = _plan(batch_size, destructive)
    both = EU_ACCEPT[first][2] if first in EU_ACCEPT and not destructive and batch_size >= 100 else first
    if len(nets_mg) not in (first, both):
        raise BadInput(
            f"For a batch of {batch_size} weigh {first} packages" + (f" (or {both} after a doubt)" if both != first else "")
            + f", not {len(nets_mg)}.",
            wanted=first,
            given=len(nets_mg),
        )  # fmt: skip
    errors = [net - nominal_mg for net in nets_mg]
    middle = mean(errors[: n_mean or None])
    spread = stdev(errors[: n_mean or None]) if len(errors) > 1 else 0.0
    limit = spread * factor
    short = sum(1 for e in errors if e < -error)
    worst = min(errors)
    reasons = []
    if middle < -limit:
        reasons.append(f"the mean is {_g(-middle)} under the nominal quantity, more than the limit of {_g(limit)}")
    if worst < -2 * error:
        reasons.append(
            f"a package is short by {_g(-worst)}, more than twice the tolerable error of {_g(error)} (below T2)"
        )
    accept, again = _acceptance(first, len(nets_mg), batch_size, destructive)
    if short > accept and not (again and short < EU_ACCEPT[first][1]):
        reasons.append(f"{short} packages are below T1 ({accept} accepted)")
    second = again if again and accept < short < EU_ACCEPT[first][1] and not reasons else 0
    return Verdict(not reasons and not second, tuple(reasons), middle, spread, limit, worst, short, second)


def _plan(batch_size: int, destructive: bool) -> tuple[int, int, float]:
    """(first sample, packages of it for the mean (0 = all), factor)."""
    if batch_size < 1:
        raise BadInput(f"A batch has at least one package, not {batch_size}.", value=batch_size)
    if batch_size < 100:
        return batch_size, 0, 0.0
    if destructive:
        return EU_DESTRUCTIVE[0], 0, EU_DESTRUCTIVE[1]
    for largest, first, n_mean, factor in EU_REFERENCE[1:]:
        if batch_size <= largest:
            return first, n_mean, factor
    return EU_LARGEST


def _acceptance(first: int, weighed: int, batch_size: int, destructive: bool) -> tuple[int, int]:
    """(packages below T1 that are accepted, size of both samples if a second one may follow)."""
    if batch_size < 100:
        return int(0.025 * batch_size), 0
    if destructive:
        return EU_DESTRUCTIVE[2], 0
    accept, _, both, accept_both = EU_ACCEPT[first]
    return (accept, both) if weighed == first else (accept_both, 0)


def _g(mg: float) -> str:
    return f"{mg / MG_PER_G:.2f} g"
