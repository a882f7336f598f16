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
    Purpose("bank", "110", "Bank", "payments by transfer"),
    Purpose("cards", "111", "Card payments", "payments by card, until the card company pays"),
    Purpose("cash", "112", "Cash", "payments in cash"),
    Purpose("other-money", "119", "Other payments", "payments by another way"),
    Purpose("receivables", "130", "Trade receivables", "what customers owe on issued invoices"),
    Purpose("customer-credit", "210", "Customers' credit", "paid or credited and not set against an invoice"),
    Purpose(
        "deposits", "220", "Deposits received", "charged by a deposit invoice, until it is taken off another",
        by_rate=True,
    ),
    Purpose(
        "core-deposits", "225", "Core deposits", "charged on old parts, until they are handed in or the deposit is kept",
        by_rate=True,
    ),
    Purpose("sales", "400", "Sales", "invoiced, before tax", by_rate=True),
    Purpose("vat", "230", "VAT on sales", "tax charged to customers", by_rate=True),
    Purpose("rounding", "490", "Rounding", "what documents and cash are rounded by"),
    Purpose("stock", "150", "Stock", "what parts on the shelf cost"),
    Purpose("goods-received", "201", "Goods received, not billed", "came in, until the supplier's invoice is recorded"),
    Purpose("payables", "200", "Trade payables", "suppliers' invoices as recorded"),
    Purpose("input-vat", "135", "VAT on purchases", "tax as suppliers state it"),
    Purpose("work-in-progress", "160", "Work in progress", "parts drawn and work sent out for cards that are not invoiced"),
    Purpose("cost-of-sales", "500", "Cost of sales", "parts and work sent out of cards that are invoiced"),
    Purpose("cancelled-work", "510", "Cost of cancelled cards", "parts drawn and not brought back, and work sent out, for a card that was cancelled"),
    Purpose("unbilled-work", "515", "Cost of work not billed", "of cards closed without an invoice: warranty, goodwill"),
    Purpose("own-use", "520", "Used by the shop", "drawn for no card"),
    Purpose("scrap", "530", "Scrap", "thrown away: broken, spoiled, expired"),
    Purpose("count-differences", "540", "Count differences", "more or less on the shelf than expected"),
    Purpose("kits", "550", "Kits broken open", "from one part into others: comes to nothing"),
)  # fmt: skip
BY_KEY: Final = {p.key: p for p in ALL}
