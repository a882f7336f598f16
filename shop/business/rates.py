"""Which rate holds on a day. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.kernel.errors import BadInput, Refused, field_error
from shop.kernel.totals import Vat

# EN 16931: a document with one of these states why no VAT is charged (BR-E-10, BR-AE-10, BR-IC-10, BR-G-10, BR-O-10)
NEED_REASON = frozenset({"E", "AE", "K", "G", "O"})
CATEGORIES = {
    "S": "Standard or reduced rate",
    "Z": "Zero rate",
    "E": "Exempt",
    "AE": "Reverse charge",
    "K": "Intra-community supply",
    "G": "Export outside the EU",
    "O": "Outside VAT",
}
# The words of jobs.plans (StageKind), which stands above and can't be asked; a test compares them.
STAGE_KINDS = ("strip", "clean", "measure", "rework", "sublet", "assemble", "fit", "test")


def check_tax(category: str, percent: Decimal, reason: str) -> None:
    """Raise BadInput unless category, percentage and reason can stand together on an EN 16931 document."""
    if category not in CATEGORIES:
        raise field_error(
            "category",
            f"Use one of the categories {', '.join(CATEGORIES)}. The margin scheme for used goods (Directive 2006/112/EC, Art. "
            "311 to 325) is not supported: no invoice here can state it; have such a sale billed elsewhere.",
        )
    try:
        Vat(category, percent)
    except BadInput as error:
        raise field_error("percent", error.message) from error
    if category in NEED_REASON and not reason:
        raise field_error(
            "reason",
            f"Category {category} needs the reason that stands on the document, such as the article of the law. "
            "Ask your tax adviser for the wording.",
        )
    if category not in NEED_REASON and reason:
        raise field_error("reason", f"Category {category} states no reason; leave it empty.")


@dataclass(frozen=True, slots=True)
class LabourPrice:
    """An hour of one kind by one class, in the currency of the business, from a day on. "" is any."""

    stage_kind: str
    labour_class: str
    valid_from: date
    per_hour: Decimal
    minimum: Decimal = Decimal(0)  # hours billed at least of a stage that is worked on at all


@dataclass(frozen=True, slots=True)
class LabourRates:
    """All prices of an hour; ask `on` for many stages at once without asking the database again."""

    prices: tuple[LabourPrice, ...]

    def on(self, day: date, stage_kind: str, labour_class: str = "") -> Decimal:
        """The price of an hour; see `fitting`."""
        return self.fitting(day, stage_kind, labour_class).per_hour

    def fitting(self, day: date, stage_kind: str, labour_class: str = "") -> LabourPrice:
        """The price of an hour: of this kind and class, else of the kind, else of the class, else the general one; each
        the latest that is in force. Raises Refused (code "no-labour-rate") when none fits."""
        fitting = [
            p
            for p in self.prices
            if p.valid_from <= day and p.stage_kind in ("", stage_kind) and p.labour_class in ("", labour_class)
        ]
        if not fitting:
            raise Refused(
                f"There is no labour rate for {stage_kind or 'any stage'} on {day.isoformat()}. The owner adds one under "
                "Business, Labour rates.",
                code="no-labour-rate",
            )
        return max(fitting, key=_closeness)


def _closeness(price: LabourPrice) -> tuple[bool, bool, date]:
    return bool(price.stage_kind), bool(price.labour_class), price.valid_from


def overlap(spans: Iterable[tuple[date, date | None]], start: date, end: date | None) -> bool:
    """Whether any of `spans` (first and last day, None: open) shares a day with start..end."""
    return any((end is None or s <= end) and (e is None or e >= start) for s, e in spans)
