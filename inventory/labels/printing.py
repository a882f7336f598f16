"""The labels themselves: what stands on them, and the PDF."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils import timezone

from inventory.parts import ghs
from inventory.parts import queries as parts
from inventory.parts.models import Part
from inventory.stock import queries as shelf
from inventory.stock.models import Bin, Lot
from shop.documents import shapes
from shop.documents.typesetting import typeset
from shop.kernel import clock
from shop.kernel.errors import BadInput, field_error

from .papers import Paper
from .picking import Pick

LANGUAGE = "en"  # the shop's own paper
LONGEST = 60  # a code that is still read from a label


def pdf(picks: Sequence[Pick], paper: Paper, *, first: int = 1, outline: bool = False) -> bytes:
    """The labels, one after the other, beginning with place `first` of the sheet (1 is the top left one).

    Raises BadInput: "first" beyond the sheet, "codes" naming every code that is no bin, part or lot, or can't be a barcode.
    """
    if not 1 <= first <= paper.places:
        raise field_error("first", f"This paper has the places 1 to {paper.places}.", code="no-such-place")
    data = shapes.Labels(
        labels=tuple(labels_of(picks)), title="Labels", outline=outline, **paper.on(0 if paper.is_roll else first - 1)
    )
    return typeset("labels", data, language=LANGUAGE, timestamp=clock.now())


def labels_of(picks: Sequence[Pick]) -> list[shapes.Label]:
    """A label for each, as often as it is wanted. Raises BadInput as `pdf`."""
    found: list[shapes.Label] = []
    wrong: list[str] = []
    codes = [pick.code for pick in picks]
    lots, bins = shelf.lots_numbered(codes), shelf.bins_coded(codes)
    for pick in picks:
        try:
            found += [_label(pick.code, lots.get(pick.code.upper()), bins.get(pick.code.upper(), []))] * pick.count
        except BadInput as error:
            wrong.append(error.message)
    if wrong:
        raise BadInput(wrong[0], code="unknown-code", fields={"codes": wrong[:20]})
    return found


def _label(code: str, lot: Lot | None, bins: Sequence[Bin]) -> shapes.Label:
    """Our lot number first, then a bin, then a part: as a scan is understood."""
    if lot:
        return _of_lot(lot)
    if len(bins) > 1:
        named = " or ".join(f"{b.site.code}/{b.code}" for b in bins)
        raise field_error("codes", f"Bin {code[:40]} is at several sites. Write {named}.", code="unknown-code")
    if bins:
        return _of_bin(bins[0])
    part = parts.by_code(code)
    if part is None:
        raise field_error("codes", f"“{code[:60]}” is no bin, part or lot here. Look it up, or take the line out.")
    return _of_part(part)


def _of_lot(lot: Lot) -> shapes.Label:
    label = ghs.read(lot.part.hazards)
    said = [
        f"use by {_day(lot.last_day)}" if lot.last_day else "",
        f"batch {lot.batch}" if lot.batch else "",
        f"opened {_day(timezone.localdate(lot.opened_at))}" if lot.opened_at else "",
    ]
    part = f"{lot.part.number} {lot.part.name}"
    lines = [
        line for line in (" · ".join(filter(None, said)), part) if line
    ]  # a long name is cut off, a last day never
    return shapes.Label(
        title=lot.number, code=_scannable(lot.number), text=lines[0], detail=lines[1] if len(lines) > 1 else "",
        caution=label.short, pictograms=label.pictograms,
    )  # fmt: skip


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def _of_part(part: Part) -> shapes.Label:
    label = ghs.read(part.hazards)
    return shapes.Label(
        title=part.number, code=_scannable(_readable(part)), text=part.name, detail=part.storage_note,
        caution=label.short, pictograms=label.pictograms,
    )  # fmt: skip


def _of_bin(bin_: Bin) -> shapes.Label:
    rack = f"rack {bin_.rack}" if bin_.rack else ""
    kind = "" if bin_.kind == Bin.Kind.SHELF else bin_.get_kind_display()
    return shapes.Label(
        title=bin_.code, code=_scannable(bin_.code), text=bin_.name or rack,
        detail=" · ".join(filter(None, [bin_.site.name, rack if bin_.name else "", kind])),
    )  # fmt: skip


def _readable(part: Part) -> str:
    """The number, or else a barcode that a code can hold."""
    codes = [part.number, *(b.code for b in part.barcodes.all())]
    return next((c for c in codes if c.isascii()), part.number)


def _scannable(code: str) -> str:
    if not code.isascii() or len(code) > LONGEST:
        raise field_error(
            "codes",
            f"“{code[:60]}” has letters that a barcode can't hold. Give the part a barcode of plain letters and digits first.",
            code="not-scannable",
        )
    return code
