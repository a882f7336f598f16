"""Paper for labels: a sheet by its columns, rows and margins, or a roll by the size of its labels. Millimetres; plain
values. Nothing here knows a maker's sheet: measures stand on the packet."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from shop.documents import shapes
from shop.kernel.errors import BadInput
from shop.kernel.findings import Findings

SMALLEST: Final = (Decimal(10), Decimal(6))  # below that no code is left
LONGEST: Final = Decimal(2000)
ZERO: Final = Decimal(0)
MEASURES: Final = ("width", "height", "top", "left", "right", "bottom", "gap_x", "gap_y")


@dataclass(frozen=True, slots=True)
class Paper:
    """`width` and `height` are those of the sheet, or of one label on a roll. `right` and `bottom` None: as left and top."""

    is_roll: bool
    width: Decimal
    height: Decimal
    rows: int = 1
    cols: int = 1
    top: Decimal = ZERO
    left: Decimal = ZERO
    right: Decimal | None = None
    bottom: Decimal | None = None
    gap_x: Decimal = ZERO
    gap_y: Decimal = ZERO

    @property
    def places(self) -> int:
        """Labels on one sheet."""
        return 1 if self.is_roll else self.rows * self.cols

    @property
    def label(self) -> tuple[Decimal, Decimal]:
        """Width and height of one label."""
        if self.is_roll:
            return self.width, self.height
        right = self.left if self.right is None else self.right
        bottom = self.top if self.bottom is None else self.bottom
        return (
            (self.width - self.left - right - self.gap_x * (self.cols - 1)) / self.cols,
            (self.height - self.top - bottom - self.gap_y * (self.rows - 1)) / self.rows,
        )

    def on(self, used: int) -> dict[str, Any]:
        """`sheet` or `roll` for the document; `used` labels of the first sheet are gone already."""
        if self.is_roll:
            return {"roll": shapes.Roll(width=self.width, height=self.height)}
        measures = {name: getattr(self, name) for name in MEASURES}
        return {"sheet": shapes.Sheet(rows=self.rows, cols=self.cols, start=used, **measures)}


PRESETS: Final = {
    "A4, 3 × 8": Paper(False, Decimal(210), Decimal(297), 8, 3),
    "A4, 2 × 7": Paper(False, Decimal(210), Decimal(297), 7, 2, Decimal(15), Decimal(5), gap_x=Decimal(2)),
    "A4, 4 × 12": Paper(False, Decimal(210), Decimal(297), 12, 4, Decimal(10), Decimal(8), gap_x=Decimal(2)),
    "Roll 62 × 29": Paper(True, Decimal(62), Decimal(29)),
    "Roll 100 × 50": Paper(True, Decimal(100), Decimal(50)),
    "Roll 50 × 14": Paper(True, Decimal(50), Decimal(14)),
}


def check(values: dict[str, Any]) -> dict[str, Any]:
    """Values of a paper, cleaned. Raises BadInput naming every wrong field."""
    clean, found = dict(values), Findings()
    found.lines(clean, {"name": 60}, "name")
    for name in MEASURES:
        found.amount(clean, name, LONGEST, 2, "Give millimetres from 0 to 2000 with at most 2 decimals.")
        if name in clean and clean[name] is None and name not in ("right", "bottom"):
            found.add(name, "Fill this in.")
    for name, most in (("rows", 50), ("cols", 20)):
        if name in clean and not (clean[name] is not None and 1 <= clean[name] <= most):
            found.add(name, f"Give 1 to {most}.")
    found.raise_any()
    return clean


def check_size(paper: Paper) -> None:
    """Raises BadInput when the labels would be too small to hold a code."""
    width, height = paper.label
    if width < SMALLEST[0] or height < SMALLEST[1]:
        raise BadInput(
            f"That leaves labels of {width:.1f} × {height:.1f} mm; a code needs at least {SMALLEST[0]} × {SMALLEST[1]}. Look "
            "at width, height, margins, gaps, rows and columns again.",
            code="label-too-small",
        )
