"""Facts as postings. Pure: plain values in, entries out; every entry sums to zero by how it is made.

Amounts are exact: a posting of stock has the value of its movement, with up to six decimals, so that the account of stock
is what the stock is worth. Totals are rounded to the cent once (`rounded`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.kernel.rounding import round_money

ZERO = Decimal(0)
# where the money of a payment lies, by its method
MONEY = {"transfer": "bank", "card": "cards", "cash": "cash", "rounding": "rounding"}
# what stands against stock, by the kind of movement; those for a card go by how far its work is
AGAINST = {
    "receipt": "goods-received", "sent-back": "goods-received", "scrap": "scrap", "count": "count-differences",
    "kit": "kits", "revalue": "goods-received", "draw": "own-use", "return": "own-use",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """`amount` on the debit side when above zero, on the credit side when below. `tax`: VAT category and rate, "S 23"."""

    purpose: str
    amount: Decimal
    tax: str = ""

    @property
    def debit(self) -> Decimal:
        return max(self.amount, ZERO)

    @property
    def credit(self) -> Decimal:
        return max(-self.amount, ZERO)


@dataclass(frozen=True, slots=True)
class Entry:
    """The postings of one document. `subject`: (kind, id) of the row it comes from."""

    on: date
    document: str
    what: str
    currency: str
    subject: tuple[str, int]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Rate:
    """What a document charges at one VAT rate, what of deposits it takes off there, and what of it are core deposits (both
    above zero)."""

    tax: str
    net: Decimal
    vat: Decimal
    deposits: Decimal = ZERO
    cores: Decimal = ZERO


def sale(rates: Iterable[Rate], rounding: Decimal, *, deposit: bool = False) -> tuple[Line, ...]:
    """An invoice: receivables to sales and VAT, by rate. A deposit invoice goes to deposits received; the invoice that
    takes it off turns it into sales. Core deposits are owed back, so they are no sale."""
    charged = list(rates)
    due = sum((r.net + r.vat for r in charged), rounding)
    lines = [Line("receivables", due)]
    for r in charged:
        lines += [Line("deposits" if deposit else "sales", -r.net - r.deposits + r.cores, r.tax)]
        lines += [Line("core-deposits", -r.cores, r.tax)]
        lines += [Line("deposits", r.deposits, r.tax), Line("vat", -r.vat, r.tax)]
    return kept([*lines, Line("rounding", -rounding)])


def credited(rates: Iterable[Rate], rounding: Decimal, settled: Decimal, *, deposit: bool = False) -> tuple[Line, ...]:
    """A credit note, whose amounts are positive: the other way round. What of it `settled` its invoice leaves receivables,
    the rest stands to the customer's credit."""
    lines = [Line(x.purpose, -x.amount, x.tax) for x in sale(rates, rounding, deposit=deposit)]
    rest = -sum((x.amount for x in lines if x.purpose == "receivables"), ZERO) - settled
    others = [x for x in lines if x.purpose != "receivables"]
    return kept([*others, Line("receivables", -settled), Line("customer-credit", -rest)])


def paid(amount: Decimal, method: str, settled: Decimal) -> tuple[Line, ...]:
    """Money that came in (below zero: went back): so much of it `settled` invoices, the rest is the customer's credit."""
    return kept(
        [
            Line(MONEY.get(method, "other-money"), amount),
            Line("receivables", -settled),
            Line("customer-credit", settled - amount),
        ]
    )


def set_against(amount: Decimal) -> tuple[Line, ...]:
    """Credit of a customer settles an invoice later on."""
    return kept([Line("customer-credit", amount), Line("receivables", -amount)])


def moved(kind: str, value: Decimal, card: str = "", of: str = "") -> tuple[Line, ...]:
    """A movement of stock of so much `value`, with its sign. `card`: where the cost of its card stands then (work in
    progress, cost of sales), "" when it is for none. `of`: the kind of movement whose cost a late difference corrects."""
    against = AGAINST[of if kind == "revalue" and of else kind]
    return kept([Line("stock", value), Line(card or against, -value)])


def ended(value: Decimal, to: str, since: str = "work-in-progress") -> tuple[Line, ...]:
    """The card is invoiced (cancelled, closed without an invoice): what its parts and what was sent out cost so far leaves where
    it stood `since`."""
    return kept([Line(to, value), Line(since, -value)])


def core_kept(amount: Decimal, tax: str) -> tuple[Line, ...]:
    """The old part doesn't come back: its deposit is a sale. Below zero: that was undone."""
    return kept([Line("core-deposits", amount, tax), Line("sales", -amount, tax)])


def billed(net: Decimal, tax: Decimal) -> tuple[Line, ...]:
    """A supplier's invoice was recorded; their credit note with both below zero."""
    return kept([Line("goods-received", net), Line("input-vat", tax), Line("payables", -net - tax)])


def sent_out(net: Decimal, tax: Decimal, card: str) -> tuple[Line, ...]:
    """An outside firm's invoice for a stage was recorded; taken back with both below zero. `card`: where the cost of its card
    stands then."""
    return kept([Line(card, net), Line("input-vat", tax), Line("payables", -net - tax)])


def kept(lines: Iterable[Line]) -> tuple[Line, ...]:
    return tuple(x for x in lines if x.amount)


@dataclass(frozen=True, slots=True)
class Total:
    purpose: str
    tax: str
    currency: str
    debit: Decimal
    credit: Decimal

    @property
    def balance(self) -> Decimal:
        """Above zero: on the debit side."""
        return self.debit - self.credit


def totals(entries: Iterable[Entry], order: Sequence[str]) -> list[Total]:
    """Sums by account and currency, in the order of purposes."""
    found: dict[tuple[str, str, str], list[Decimal]] = {}
    for entry in entries:
        for line in entry.lines:
            sums = found.setdefault((line.purpose, line.tax, entry.currency), [ZERO, ZERO])
            sums[0] += line.debit
            sums[1] += line.credit
    rank: Mapping[str, int] = {key: n for n, key in enumerate(order)}
    keys = sorted(found, key=lambda k: (k[2], rank[k[0]], k[1]))
    return [Total(*key, *found[key]) for key in keys]


def rounded(given: Iterable[Total]) -> list[Total]:
    """To the cent, half away from zero, debit and credit each once; what the rounding leaves open, by currency, goes to the
    account of rounding, so that both sides come to the same again."""
    found = [
        Total(x.purpose, x.tax, x.currency, round_money(x.debit, x.currency), round_money(x.credit, x.currency))
        for x in given
    ]
    for currency in sorted({x.currency for x in found}):
        open_ = sum((x.balance for x in found if x.currency == currency), ZERO)
        if not open_:
            continue
        own = next((x for x in found if (x.purpose, x.tax, x.currency) == ("rounding", "", currency)), None)
        more = Total("rounding", "", currency, max(-open_, ZERO), max(open_, ZERO))
        if own is None:
            found.append(more)
        else:
            at = found.index(own)
            found[at] = Total("rounding", "", currency, own.debit + more.debit, own.credit + more.credit)
    return found
