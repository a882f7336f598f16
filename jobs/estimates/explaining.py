"""How a figure came about, in sentences a person can check by hand. Plain values in, text out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from shop.documents.formatting import strings
from shop.kernel.rounding import round_money
from shop.ui.formats import money, number, qty

from . import pricing
from .pricing import Priced

MOST_SUMMANDS = 12
QUANTITIES = {
    "standard": "Quantity: the standard hours of stage {stage}.",
    "booked": "Quantity: the hours booked on stage {stage}.",
    "minimum": "Quantity: the minimum, {minimum} h, billed for such a stage once it is worked on; its standard hours are {hours}.",
    "minimum-hand": "Quantity: the minimum, {minimum} h, billed for such a stage once it is worked on; {by} set {hours} h.",
    "minimum-booked": "Quantity: the minimum, {minimum} h, billed for such a stage once it is worked on; booked are {hours} h.",
    "booked-by": "Quantity: the hours that {who} booked on stage {stage}.",
    "need": "Quantity: what the job needs of this part.",
    "used": "Quantity: what was drawn for the job less what came back.",
    "agreed": "Quantity: as agreed in {agreed}.",
    "with-part": "Quantity: that of its part {part}.",
    "lump": "One lump sum.",
    "one": "Quantity: one, as no other was given.",
    "credited": "Quantity: of what {credits} charged.",
    "deposit": "What deposit invoice {deposit} charged, with {tax} VAT.",
}
PRICES = {
    "rate": "Price: the shop's hour for {rate_kind}, as of {rate_on}.",
    "catalogue": "Price: the sale price in the catalogue.",
    "rule": "Price: by the shop's price rule “{rule}”.",
    "charge": "Price: what the catalogue says is charged with one {part}.",
    "missing": "No price is known yet: set one.",
    "agreed": "Price: as agreed in {agreed}.",
    "credited": "Price: as on {credits}.",
    "hand": "Price: set by {by}.",
}
WHY = {
    "own-rule": "Not on an estimate; the shop's rule is that this stage needs no go-ahead.",
    "agreed-directly": "Not on an estimate; the stage was agreed as such.",
    "owner": "Never agreed; the owner charges it all the same.",
    "no-stage": "Agreed by what is done, but for no stage that hours are booked on; the owner charges it as agreed.",
}


def line(row: Any, currency: str) -> list[str]:
    """From where quantity and price come, then the sum itself."""
    basis = _Facts(row.basis)
    said = []
    quantity, price = row.basis.get("quantity", ""), row.basis.get("price", "")
    if quantity == "hand":
        said.append(f"Quantity: set by {basis['by']}.")
    elif quantity in QUANTITIES:
        said.append(QUANTITIES[quantity].format_map(basis))
    if price == "percent":
        said.append(
            f"Price: {number(Decimal(basis['percent']).normalize())} % of labour and parts, "
            f"{money(Decimal(basis['base']), currency)}."
        )
    elif price == "markup":
        said.append(_marked_up(row, currency))
    elif price in PRICES and not (quantity == price == "agreed"):
        said.append(PRICES[price].format_map(basis))
        if basis["price_on"] and price in ("catalogue", "rule", "charge"):
            said[-1] = f"{said[-1][:-1]}, as of {basis['price_on']}."
    for note in (WHY.get(basis["why"]), basis["estimated"] and f"Estimated: {basis['estimated']}.", _less(basis)):
        if note:
            said.append(note)
    said.append(arithmetic(row, currency))
    return said


def _marked_up(row: Any, currency: str) -> str:
    """The cost is of the whole line, the price of one."""
    cost, percent = Decimal(row.basis["cost"]), Decimal(row.basis["markup"])
    of = Decimal(row.basis["of"]) if "of" in row.basis else row.quantity
    whole = money(cost, currency)
    if "of" not in row.basis and pricing.with_markup(cost / of, percent) != row.unit_price:
        return f"Price: from a cost of {whole} and {number(percent.normalize())} % on top."  # of another quantity then
    if of == 1:
        return f"Price: cost {whole} and {number(percent.normalize())} % on top."
    return f"Price: cost {whole} for {qty(of, getattr(row, 'unit', ''))}, and {number(percent.normalize())} % on top."


def _less(basis: Mapping[str, Any]) -> str:
    """Why a core deposit isn't charged for every part."""
    if basis["cores_in"]:
        return f"Old parts handed in before: {basis['cores_in']}. No core deposit is charged for those."
    return f"Not charged for {basis['less']} of them: it was before." if basis["less"] else ""


def arithmetic(row: Priced, currency: str) -> str:
    """ "3.5 h × €68.00 = €238.00; less 10 % €23.80 = €214.20; VAT 23 % is added on the sum." """
    net = pricing.net(row, currency)
    unit = getattr(row, "unit", "")
    whole = pricing.before_discount(row, currency)
    text = f"{qty(row.quantity, unit)} × {money(row.unit_price, currency)} = {money(whole, currency)}"
    if row.discount_percent:
        text += (
            f"; less {number(row.discount_percent.normalize())} % discount, {money(whole - net, currency)},"
            f" = {money(net, currency)}"
        )
    return text + "."


def section(nets: Sequence[Decimal], currency: str) -> str:
    """The sum under the lines of one kind: "€238.00 + €85.00 = €323.00."; of many lines only how many there are."""
    total = money(sum(nets, Decimal(0)), currency)
    if len(nets) > MOST_SUMMANDS:
        return f"The {len(nets)} lines above: {total}."
    return " + ".join(money(x, currency) for x in nets) + f" = {total}."


def margin(
    net: Decimal, cost: Decimal, currency: str, *, before: Decimal = Decimal(0), percent: Decimal = Decimal(0)
) -> str:
    """What is left of a net when the cost that is known is taken off; `before` a discount of `percent` on the whole."""
    whole = f"{money(before, currency)} less {number(percent.normalize())} % = " if percent else ""
    return f"{whole}{money(net, currency)} − cost {money(cost, currency)} = {money(round_money(net - cost, currency), currency)}."


def net(doc: Any) -> str:
    """The total without tax, from the lines and the discount on all of them."""
    lines, cur = f"The sum of all lines that count: {money(doc.sum_net, doc.currency)}", doc.currency
    if not doc.discount_percent:
        return f"{lines}."
    return f"{lines}; less the discount {money(doc.sum_net - doc.total_net, cur)} = {money(doc.total_net, cur)}."


def outlook(careful: bool) -> str:
    """What a likely or careful figure is; its inputs are the lines and the shop's own hours."""
    below = "four of five" if careful else "half"
    return (
        f"Of all ways the open hours can turn out, {below} stay below this. Hours vary as finished stages of ours did; parts, "
        "work sent out and agreed prices are certain. It is reckoned on the whole, so it is no sum of figures by line."
    )


def vat(group: Mapping[str, str]) -> str:
    """The name of one VAT sum: its rate, and what else tells it from another at the same rate."""
    why = strings("en")["vat_categories"].get(group["category"], "")
    return f"VAT {number(Decimal(group['percent']))} %" + (f", {why}" if why else "")


def document(doc: Any) -> list[tuple[str, str]]:
    """Each total with how it came about: (its name, the sum)."""
    cur = doc.currency
    rows = [("Lines", f"The sum of all lines that count: {money(doc.sum_net, cur)}.")]
    if doc.discount_percent:
        rows.append(
            (
                "Discount",
                f"{number(doc.discount_percent.normalize())} % of the lines of each VAT rate, core deposits apart, rounded once "
                "for each: "
                f"{money(doc.sum_net - doc.total_net, cur)}. Reason: {doc.discount_reason}.",
            )
        )
    rows += [
        (
            vat(g),
            f"{number(Decimal(g['percent']))} % of {money(Decimal(g['base']), cur)} = {money(Decimal(g['tax']), cur)}, "
            "rounded once.",
        )
        for g in doc.tax_groups
    ]
    rows.append(
        ("Total", f"{money(doc.total_net, cur)} + VAT {money(doc.total_tax, cur)} = {money(doc.total_gross, cur)}.")
    )
    return rows


class _Facts(dict):
    """Facts of a line for a sentence; what isn't there is left out."""

    def __missing__(self, key: str) -> str:
        return ""
