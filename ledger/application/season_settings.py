"""What the planner assumes where neither book nor ledger says: prices of bending a limit, customers lost, weeks frozen."""

from __future__ import annotations

from dataclasses import dataclass, fields

from ledger.domain.books.book import Book
from ledger.domain.books.entries import Worker
from ledger.errors import BadInput
from ledger.planning import NORMAL, QUICK, Effort, Prices

EFFORTS: dict[str, Effort] = {"quick": QUICK, "normal": NORMAL}
MOST_WEEKS = 52


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSettings:
    """Settings of a plan, whole numbers only; a price of -1 is worked out from the rates of the workers in the book.

    Common practice, no source: overtime at half again the mean rate and at most an hour and a half a day; a helper for six hours at
    the lowest rate, at most two a week; of ten customers who miss their flavour four take another for every day, one for a feast.

    making_percent: share of the book's hours that is free for making. store_kg: room for packed candy (0: never full).
    service_percent: share of weeks in which an everyday flavour should not run out. keep_percent: share of its life on the label after
    which a pack no longer goes on sale.
    """

    weeks: int = 26
    making_percent: int = 100
    overtime_per_hour: int = -1
    overtime_minutes_a_day: int = 90
    helper_shifts: int = 2
    helper_shift: int = -1
    helper_minutes: int = 360
    store_kg: int = 0
    service_percent: int = 90
    lost_percent_everyday: int = 60
    lost_percent_feast: int = 90
    hold_per_kg_week: int = 5
    keep_percent: int = 75
    closing_weeks: int = 3
    frozen_weeks: int = 2
    moved_batch: int = 3000
    most_a_week: int = 6

    def __post_init__(self) -> None:
        if not 1 <= self.weeks <= MOST_WEEKS:
            raise BadInput(
                f"A plan covers 1 to {MOST_WEEKS} weeks; {self.weeks} were asked for.",
                value=self.weeks,
                limit=MOST_WEEKS,
            )
        for name in (
            "making_percent",
            "service_percent",
            "lost_percent_everyday",
            "lost_percent_feast",
            "keep_percent",
        ):
            value = getattr(self, name)
            if not 0 <= value <= 100:
                raise BadInput(f"{name.replace('_', ' ')} of {value} is no share; give 0 to 100.", value=value)
        for field in fields(self):
            if getattr(self, field.name) < (-1 if field.name in ("overtime_per_hour", "helper_shift") else 0):
                raise BadInput(
                    f"{field.name.replace('_', ' ')} of {getattr(self, field.name)} is below 0.",
                    value=getattr(self, field.name),
                )

    def as_data(self) -> dict[str, int]:
        """The settings by name, to be kept beside a plan."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def prices_of(settings: PlanSettings, book: Book) -> Prices:
    """The prices a plan is costed with."""
    rates = [w.rate for w in book.all(Worker) if w.rate > 0]
    overtime = settings.overtime_per_hour
    if overtime < 0:
        overtime = sum(rates) * 3 // (2 * len(rates)) if rates else 1800
    shift = settings.helper_shift
    if shift < 0:
        shift = min(rates) * settings.helper_minutes // 60 if rates else 8400
    return Prices(
        overtime_per_hour=overtime,
        helper_shift=shift,
        helper_minutes=settings.helper_minutes,
        moved_batch=settings.moved_batch,
    )


__all__ = ["EFFORTS", "PlanSettings", "prices_of"]
