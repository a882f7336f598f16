"""What is posted, by purpose, and an account for each as an example. Pure: no tables.

The numbers are examples to start from. Which account a business uses is for its tax adviser to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Purpose:
    key: str
    number: str  # as an example
    name: str
    meaning: str
    by_rate: bool = False  # may have an account for each VAT rate


ALL: Final = (
    Purpose("bank", "1200", "Bank", "payments by transfer"),
    Purpose("cards", "1210", "Card payments", "payments by card, until the card company pays"),
    Purpose("cash", "1000", "Cash", "payments in cash"),
    Purpose("other-money", "1290", "Other payments", "payments by another way"),
    Purpose("receivables", "1400", "Trade receivables", "what customers owe on issued invoices"),
    Purpose("customer-credit", "1710", "Customers' credit", "paid or credited and not set against an invoice"),
    Purpose(
        "deposits", "1720", "Deposits received", "charged by a deposit invoice, until it is taken off another",
        by_rate=True,
    ),
    Purpose("sales", "8400", "Sales", "invoiced, before tax", by_rate=True),
    Purpose("vat", "1770", "VAT on sales", "tax charged to customers", by_rate=True),
    Purpose("rounding", "2660", "Rounding", "what documents and cash are rounded by"),
    Purpose("stock", "3980", "Stock", "what parts on the shelf cost"),
    Purpose("goods-received", "1600", "Goods received, not billed", "came in, until the supplier's invoice is recorded"),
    Purpose("payables", "1610", "Trade payables", "suppliers' invoices as recorded"),
    Purpose("input-vat", "1570", "VAT on purchases", "tax as suppliers state it"),
    Purpose("work-in-progress", "7050", "Work in progress, parts", "drawn for cards that are not invoiced"),
    Purpose("cost-of-sales", "3200", "Cost of sales, parts", "parts of cards that are invoiced"),
    Purpose("cancelled-work", "3210", "Parts of cancelled cards", "drawn for a card that was cancelled and not brought back"),
    Purpose("own-use", "4980", "Used by the shop", "drawn for no card"),
    Purpose("scrap", "3960", "Scrap", "thrown away: broken, spoiled, expired"),
    Purpose("count-differences", "3970", "Count differences", "more or less on the shelf than expected"),
    Purpose("kits", "3985", "Kits broken open", "from one part into others: comes to nothing"),
)  # fmt: skip
BY_KEY: Final = {p.key: p for p in ALL}
