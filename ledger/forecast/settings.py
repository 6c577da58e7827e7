"""What the owner and the method settle before a forecast: feasts, windows, analogues, and the strength of each belief."""

from __future__ import annotations

from dataclasses import dataclass, field

from ledger.errors import BadInput
from ledger.forecast.calendar import USUAL_FEASTS, Feast

QUANTILES: tuple[float, ...] = (0.1, 0.25, 0.5, 0.75, 0.9)
SPANS: tuple[int, ...] = (2, 4, 8)


@dataclass(frozen=True, slots=True)
class Window:
    """A flavour is on the shelf only from so many days before a feast to so many days after it.

    A flavour sold for two feasts a year has two windows; a day in both belongs to the feast whose window holds more of
    that week.
    """

    flavour: str
    feast: str
    days_before: int
    days_after: int = 0

    def __post_init__(self) -> None:
        if self.days_before < 0 or self.days_after < 0 or self.days_before + self.days_after > 330:
            raise BadInput(
                f"window of {self.flavour!r}: {self.days_before} days before to {self.days_after} after "
                f"{self.feast!r} must be 0 or more and together at most 330 days",
                flavour=self.flavour,
            )


@dataclass(frozen=True, slots=True)
class Analogue:
    """The owner's word that a new flavour will sell like a known one, ``share`` times as much."""

    flavour: str
    like: str
    share: float = 1.0

    def __post_init__(self) -> None:
        if not self.share > 0:
            raise BadInput(f"analogue of {self.flavour!r}: share {self.share} must be above 0", value=self.share)


@dataclass(frozen=True, slots=True)
class Beliefs:
    """Prior standard deviations on the log scale, and the other fixed constants of the method.

    Chosen once on simulated shops; nothing here is fitted to the shop at hand. A feast's hats share ``hat_common``
    between all flavours; ``hat_flavour``, ``hat_channel`` and ``hat_own`` are the turns a flavour, a channel and a
    flavour within a channel may take on it. The same holds for trends, yearly waves and promotions. ``season_...`` are
    the turns of the flavours sold only around a feast on what the all-year flavours of their channel do. One week of
    the year in fifty (``recurring_share``) is held to sell otherwise every year though no feast is named there, by
    ``recurring_spread``; weeks are taken as ``recurring_caution`` times noisier than they look.
    """

    intercept: float = 3.0
    trend_common: float = 0.08
    trend_flavour: float = 0.06
    trend_channel: float = 0.05
    trend_own: float = 0.03
    hat_common: float = 0.6
    hat_flavour: float = 0.2
    hat_channel: float = 0.25
    hat_own: float = 0.15
    harmonic_common: float = 0.4
    harmonic_flavour: float = 0.25
    harmonic_channel: float = 0.15
    harmonic_own: float = 0.2
    promotion_common: float = 0.6
    promotion_flavour: float = 0.15
    promotion_channel: float = 0.1
    promotion_own: float = 0.1
    season_hat_common: float = 2.0
    season_hat_flavour: float = 0.3
    season_hat_channel: float = 0.5
    season_hat_own: float = 0.2
    season_trend_common: float = 0.01
    season_trend_flavour: float = 0.06
    season_trend_channel: float = 0.02
    season_trend_own: float = 0.02
    season_wave_common: float = 0.3
    season_wave_flavour: float = 0.2
    season_wave_channel: float = 0.1
    season_wave_own: float = 0.1
    season_promotion_common: float = 0.2
    season_promotion_flavour: float = 0.15
    season_promotion_channel: float = 0.1
    season_promotion_own: float = 0.1
    winsor: float = 4.0
    least_exposure: float = 0.15
    level_discount: float = 0.85
    level_weight_shop: float = 150.0
    level_weight_series: float = 60.0
    level_weight_group: float = 100.0
    level_weight_season: float = 32.0
    season_age: float = 0.8
    profile_weight: float = 8.0
    trend_damping: float = 0.97
    recurring_share: float = 0.02
    recurring_spread: float = 0.4
    recurring_caution: float = 1.5
    scale_square: float = 0.06
    scale_floor: float = 0.3


@dataclass(frozen=True, slots=True)
class ForecastSettings:
    """Everything a forecast needs besides sales.

    Attributes:
        feasts: the feasts the owner ticked; a flavour's window may name only these.
        windows: flavours sold only around a feast. Outside the window a forecast is exactly zero.
        analogues: new flavours with the known flavour each is like.
        knots: days before a feast at which the build-up may bend.
        season_knots: the same for a flavour sold only for that feast, counted from the feast; flat beyond both ends.
        harmonics: how many yearly waves carry the season that no feast explains.
        normal_days: open days of an ordinary week; None takes the commonest of the history.
        calibration_weeks: how far back rolling origins are replayed to calibrate the bands.
        calibration_step: weeks between those origins.
        least_training: weeks of history before the first calibration origin.
    """

    feasts: tuple[Feast, ...] = USUAL_FEASTS
    windows: tuple[Window, ...] = ()
    analogues: tuple[Analogue, ...] = ()
    knots: tuple[int, ...] = (-49, -35, -21, -14, -7, 0)
    season_knots: tuple[int, ...] = (-56, -42, -28, -21, -14, -7, -1, 6, 13)
    harmonics: int = 2
    normal_days: float | None = None
    calibration_weeks: int = 56
    calibration_step: int = 2
    least_training: int = 52
    beliefs: Beliefs = field(default_factory=Beliefs)

    def __post_init__(self) -> None:
        names = [f.name for f in self.feasts]
        if len(set(names)) != len(names):
            raise BadInput(f"feasts must have different names, got {', '.join(names)}", feasts=names)
        for window in self.windows:
            if window.feast not in names:
                raise BadInput(
                    f"window of {window.flavour!r} names the feast {window.feast!r}; known are "
                    f"{', '.join(names) or 'none'}. Tick the feast first",
                    feast=window.feast,
                )
        pairs = [(w.flavour, w.feast) for w in self.windows]
        twice = sorted({f"{f} for {feast}" for f, feast in pairs if pairs.count((f, feast)) > 1})
        if twice:
            raise BadInput(f"one window a flavour and feast, but {', '.join(twice)} has more", flavours=twice)
        for knots in (self.knots, self.season_knots):
            if list(knots) != sorted(set(knots)) or not knots:
                raise BadInput(f"knots must rise, got {knots}", value=knots)

    def feast(self, name: str) -> Feast:
        """The ticked feast of that name."""
        return next(f for f in self.feasts if f.name == name)

    def window_of(self, flavour: str) -> Window | None:
        """The first window of a season-only flavour; None for one sold all year."""
        return next((w for w in self.windows if w.flavour == flavour), None)

    def windows_of(self, flavour: str) -> tuple[Window, ...]:
        """All windows of a season-only flavour, one a feast; none for one sold all year."""
        return tuple(w for w in self.windows if w.flavour == flavour)

    def analogue_of(self, flavour: str) -> Analogue | None:
        """The owner's named analogue of a flavour, if any."""
        return next((a for a in self.analogues if a.flavour == flavour), None)
