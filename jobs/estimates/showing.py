"""An estimate or invoice as its page shows it: lines by section, each figure with how it came about."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from shop.kernel.rounding import round_money
from shop.kernel.totals import percent_of
from shop.ui.formats import money, number

from . import explaining, pricing
from .models import LineKind

ANSWERS = {"accepted": ("done", "yes"), "declined": ("off", "no"), "open": ("todo", "open")}


@dataclass(frozen=True)
class Row:
    line: Any
    how: list[str]
    mark: str = ""
    word: str = ""
    margin: Decimal | None = None
    margin_how: str = ""


@dataclass(frozen=True)
class Section:
    title: str
    rows: list[Row]
    net: Decimal
    counted: bool = True
    how: str = ""


def sections(
    lines: Iterable[Any], currency: str, answers: Mapping[int, str] | None = None, *, whole: str = ""
) -> list[Section]:
    """Lines by kind, optional ones last. `answers`: accepted, declined or open, by line. `whole`: the one heading for all of
    them instead."""
    listed = list(lines)
    found = []
    groups: list[tuple[str, list[Any], bool]] = [
        (str(kind.label), [x for x in listed if x.kind == kind and pricing.is_counted(x)], True) for kind in LineKind
    ]
    groups.append(("Optional work", [x for x in listed if not pricing.is_counted(x)], False))
    if whole:
        groups = [(whole, listed, True)]
    for title, inside, counted in groups:
        if not inside:
            continue
        rows = []
        for line in inside:
            mark, word = ANSWERS[answers.get(line.pk, "open")] if answers is not None else ("", "")
            margin = round_money(line.net - line.cost, currency) if line.cost is not None else None
            left = "" if line.cost is None else explaining.margin(line.net, line.cost, currency)
            rows.append(Row(line, explaining.line(line, currency), mark, word, margin, left))
        nets = [x.net for x in inside]
        found.append(Section(title, rows, sum(nets, Decimal(0)), counted, explaining.section(nets, currency)))
    return found


@dataclass(frozen=True)
class Sum:
    label: str
    amount: Decimal
    how: str
    strong: bool = False


def totals(doc: Any) -> list[Sum]:
    """The totals block, each with how it came about."""
    how = dict(explaining.document(doc))
    found = []
    if doc.discount_percent:
        found.append(Sum("Lines", doc.sum_net, how["Lines"]))
        found.append(Sum("Discount", doc.total_net - doc.sum_net, how["Discount"]))
    found.append(Sum("Without VAT", doc.total_net, explaining.net(doc)))
    for g in doc.tax_groups:
        label = explaining.vat(g)
        found.append(Sum(label, Decimal(g["tax"]), how[label]))
    found.append(Sum("With VAT", doc.total_gross, how["Total"], strong=not doc.rounding))
    if doc.rounding:
        found.append(
            Sum(
                "Rounding",
                doc.rounding,
                "So that an invoice, its deposits and its credit notes come to the whole exactly.",
            )
        )
        said = {"credit": "Credited", "debit": "Charged again"}.get(doc.kind, "To pay")
        found.append(Sum(said, doc.total_gross + doc.rounding, "The total and the rounding.", strong=True))
    return found


def other_rates(before: Iterable[Mapping[str, str]], doc: Any, total: Decimal) -> str:
    """What to say when a document was issued with other VAT than its page showed (`before`: its groups then); "" when not."""
    was, now = ({(g["category"], g["percent"]) for g in groups} for groups in (before, doc.tax_groups))
    if was == now:
        return ""
    new, old = (
        " and ".join(f"{number(Decimal(percent))} %" for _category, percent in sorted(x))
        for x in (now - was, was - now)
    )
    rates = f"VAT is {new}, not {old} as on the draft" if new and old else "VAT is not what the draft showed"
    return f"{rates}: it comes to {money(total, doc.currency)} with VAT."


@dataclass(frozen=True)
class Margin:
    net: Decimal
    cost: Decimal
    unknown: int
    currency: str
    how: str = ""

    @property
    def amount(self) -> Decimal:
        return round_money(self.net - self.cost, self.currency)

    @property
    def percent(self) -> Decimal | None:
        return (self.amount * 100 / self.net).quantize(Decimal("0.1")) if self.net else None


def margin(lines: Iterable[Any], doc: Any) -> Margin:
    """Of the lines whose cost is known, less the discount on the whole document; how many aren't. A core deposit is no
    earning. Owner only."""
    currency = doc.currency
    counted = [x for x in lines if pricing.is_counted(x) and x.kind != LineKind.CORE]
    known = [x for x in counted if x.cost is not None]
    net, cost = sum((x.net for x in known), Decimal(0)), sum((x.cost for x in known), Decimal(0))
    left = net - percent_of(net, doc.discount_percent, currency)
    how = explaining.margin(left, cost, currency, before=net, percent=doc.discount_percent)
    return Margin(left, cost, len(counted) - len(known), currency, how)
