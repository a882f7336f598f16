"""Labels for bins, parts and lots: on sheets or on a roll. All measures in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from shop.documents.fields import Code, Length, Text


@dataclass(frozen=True)
class Label:
    """`code` goes into the QR code; `bars` (default the same) into the Code 128; "-" leaves the bars out."""

    title: Text
    code: Code
    bars: Code | None = None
    text: Text = ""
    detail: Text = ""
    caution: Text = ""
    pictograms: tuple[Code, ...] = ()
    """Of UN GHS: GHS01 to GHS09."""


@dataclass(frozen=True)
class Sheet:
    """A sheet of equal labels. Left and top are the margins to the first label's edge; gaps lie between
    labels.
    """

    rows: int
    cols: int
    width: Length = Decimal("210")
    height: Length = Decimal("297")
    top: Length = Decimal("0")
    left: Length = Decimal("0")
    right: Length | None = None
    bottom: Length | None = None
    gap_x: Length = Decimal("0")
    gap_y: Length = Decimal("0")
    start: int = 0
    """Labels of the sheet already used up."""


@dataclass(frozen=True)
class Roll:
    """A label printer's roll: every label is a page of this size."""

    width: Length
    height: Length


@dataclass(frozen=True)
class Labels:
    labels: tuple[Label, ...]
    sheet: Sheet | None = None
    roll: Roll | None = None
    title: Text = ""
    outline: bool = False
    """Thin cutting lines around each label."""
