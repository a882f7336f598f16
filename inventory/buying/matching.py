"""Order, receipt and invoice of one line side by side, and in words where they differ. On plain values."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from shop.kernel.decimals import plain
from shop.kernel.units import unit

from .packing import unit_price

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Side:
    """`quantity` in the part's unit; `price` for each `price_per` of it, None while it is not known."""

    quantity: Decimal
    price: Decimal | None
    price_per: Decimal = Decimal(1)

    @property
    def each(self) -> Decimal | None:
        return None if self.price is None else unit_price(self.price, self.price_per)


def differences(
    ordered: Side | None,
    received: Side,
    billed: Side | None,
    *,
    code: str,
    currency: str,
    sent_back: Decimal = ZERO,
    credited: Decimal = ZERO,
    corrected: Decimal = ZERO,
) -> list[str]:
    """What differs, a sentence for each; empty when the three agree. `received` as it came, `sent_back` of it went again;
    `code` is the unit; `credited` of the quantity, `corrected` in money, by credit notes. A side that isn't there yet is None."""
    sign = unit(code).symbol

    def amount(value: Decimal) -> str:
        return f"{plain(value)} {sign}"

    said: list[str] = []
    kept = received.quantity - sent_back
    if ordered is None:
        said.append(f"{amount(received.quantity)} came without an order.")
    elif received.quantity < ordered.quantity:
        said.append(f"{amount(ordered.quantity)} were ordered, {amount(received.quantity)} came.")
    elif kept > ordered.quantity:  # what replaces something sent back is no more than was ordered
        said.append(f"{amount(kept - ordered.quantity)} more came than were ordered.")
    if sent_back:
        said.append(f"{amount(sent_back)} went back.")
    if billed is None:
        return said
    paid = billed.quantity - credited
    if credited:
        said.append(f"{amount(credited)} are credited.")
    if paid > kept:
        said.append(f"{amount(paid)} are charged, {amount(kept)} were kept: ask for {amount(paid - kept)} back.")
    elif paid < kept:
        said.append(f"{amount(kept - paid)} are not charged yet.")
    if corrected:
        said.append(f"{_money(corrected)} {currency} are credited of the price.")
    agreed = (ordered or received).each
    if billed.each is not None and agreed is not None and billed.each != agreed:
        word = "dearer" if billed.each > agreed else "cheaper"
        by = abs(billed.each - agreed)
        said.append(
            f"Charged at {_money(billed.each)} {currency} each instead of {_money(agreed)}: {_money(by)} {word} each."
        )
    return said


def extras(name: str, counted: Decimal, charged: Decimal, currency: str, *, whole: bool) -> str:
    """Where freight or duty (`name`) is charged otherwise than was counted into the goods' cost when they came; "" where it
    isn't. `whole`: all that came is charged, so nothing of it comes with a later invoice. Where they charge none, a carrier
    does, whose invoice isn't theirs."""
    if charged > counted:
        return (
            f"{name}: {_money(charged)} {currency} are charged, {_money(counted)} were counted at receipt: "
            f"{_money(charged - counted)} more."
        )
    if ZERO < charged < counted and whole:
        return (
            f"{name}: {_money(charged)} {currency} are charged, {_money(counted)} were counted at receipt: "
            f"{_money(counted - charged)} less."
        )
    return ""


def _money(value: Decimal) -> str:
    """At least two decimals, more where they count."""
    text = plain(value)
    return text if len(text.partition(".")[2]) > 2 else f"{value:.2f}"
