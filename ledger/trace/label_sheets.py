"""Label sheets and thermal rolls: where each label lies on the page. All measures in millimetres.

Sizes are those of common office label sheets and 203 dpi thermal rolls (common practice; the A4 24-up grid of 70 x 37
mm and the Letter 30-up grid of 2 5/8 x 1 in are sold by many makers).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ledger.errors import BadInput

INCH = 25.4


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page with a grid of equal labels. ``pitch`` is the distance from one label's corner to the next one's."""

    name: str
    page_w: float
    page_h: float
    columns: int
    rows: int
    label_w: float
    label_h: float
    left: float = 0.0
    top: float = 0.0
    pitch_x: float = 0.0
    pitch_y: float = 0.0
    says: str = ""

    @property
    def count(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    def corners(self) -> Iterator[tuple[float, float]]:
        """Upper left corner of each label, from the page's upper left, row by row."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield (
                    self.left + column * (self.pitch_x or self.label_w),
                    self.top + row * (self.pitch_y or self.label_h),
                )


SHEETS = {
    sheet.name: sheet
    for sheet in (
        Sheet("a4-24", 210, 297, 3, 8, 70, 37, top=0.5, says="A4 sheet, 24 labels of 70 x 37 mm"),
        Sheet(
            "letter-30", 8.5 * INCH, 11 * INCH, 3, 10, 2.625 * INCH, INCH,
            left=0.1875 * INCH, top=0.5 * INCH, pitch_x=2.75 * INCH, pitch_y=INCH,
            says="Letter sheet, 30 labels of 2 5/8 x 1 in",
        ),
        Sheet("roll-50x25", 50, 25, 1, 1, 50, 25, says="thermal roll, 50 x 25 mm"),
        Sheet("roll-57x32", 57, 32, 1, 1, 57, 32, says="thermal roll, 57 x 32 mm"),
        Sheet("roll-62x29", 62, 29, 1, 1, 62, 29, says="thermal roll, 62 x 29 mm"),
    )
}  # fmt: skip


def sheet_called(name: str) -> Sheet:
    """The sheet of this name.

    Raises:
        BadInput: no such sheet; the message lists them.
    """
    if name not in SHEETS:
        known = "; ".join(f"{s.name} ({s.says})" for s in SHEETS.values())
        raise BadInput(f"There is no label sheet {name!r}. Known: {known}.", value=name)
    return SHEETS[name]
