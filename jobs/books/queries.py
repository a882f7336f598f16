"""Reads of what the room keeps itself: accounts, closings, and what may be closed next."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Max, QuerySet

from shop.kernel import clock

from . import gathering, journal
from .accounts import ALL, BY_KEY, Purpose
from .journal import Total
from .models import AccountChoice, Gate, MonthClosing

ORDER = tuple(p.key for p in ALL)
SETTLED = timedelta(hours=1)  # a month is closed when no write of it can still be under way


@dataclass(frozen=True, slots=True)
class Account:
    """The account of a purpose (at one VAT rate). `example`: nobody has chosen it yet."""

    purpose: Purpose
    tax: str
    number: str
    name: str
    example: bool


class Chart:
    """Every account that was chosen, and the examples for the others."""

    def __init__(self) -> None:
        newest = AccountChoice.objects.order_by().values("purpose", "tax").annotate(last=Max("id")).values("last")
        self.chosen = {(x.purpose, x.tax): x for x in AccountChoice.objects.filter(pk__in=newest)}

    def of(self, purpose: str, tax: str = "") -> Account:
        """At a VAT rate: the account chosen for the rate, else the one of all rates."""
        found = self.chosen.get((purpose, tax)) or self.chosen.get((purpose, ""))
        if found is None:
            example = BY_KEY[purpose]
            return Account(example, tax, example.number, example.name, True)
        return Account(BY_KEY[purpose], tax, found.number, found.name, False)

    def all(self) -> Iterator[Account]:
        """In the order of purposes; below each those of single rates."""
        for purpose in ALL:
            yield self.of(purpose.key)
            for key, tax in sorted(self.chosen):
                if key == purpose.key and tax:
                    yield self.of(key, tax)


def closings() -> QuerySet[MonthClosing]:
    return MonthClosing.objects.select_related("by", "reopening__by")


def closing(pk: int) -> MonthClosing | None:
    return closings().prefetch_related("totals").filter(pk=pk).first()


def standing() -> MonthClosing | None:
    """The last month that is closed."""
    return closings().filter(reopening__isnull=True).order_by("-month", "-id").first()


def open_from() -> date | None:
    """The first day that is open; None while nothing is closed."""
    return Gate.objects.filter(pk=1).values_list("open_from", flat=True).first()


def ended(month: date) -> bool:
    """Whether `month` is over, with an hour for what was under way."""
    return clock.now() >= gathering.begins(gathering.month_after(month)) + SETTLED


def next_to_close() -> date | None:
    """The first day of the month that may be closed next: the one after the last closed, else the last that is over."""
    first = open_from()
    if first is None:
        first = (clock.today().replace(day=1) - timedelta(days=1)).replace(day=1)
    return first if ended(first) else None


def totals(since: date, until: date) -> tuple[list[Total], int]:
    """By account, exact, from `since` and before `until`; and how many entries there were."""
    count = 0

    def counted() -> Iterator[journal.Entry]:
        nonlocal count
        for entry in gathering.entries(since, until):
            count += 1
            yield entry

    return journal.totals(counted(), ORDER), count


def wrong() -> Iterator[str]:
    """What a closed month comes to now, where that is not what was kept when it was closed; and the gate, where it is not
    where the closings say."""
    last = standing()
    expected = gathering.month_after(last.month) if last else None
    if open_from() != expected:
        yield f"Open from {open_from()} is kept, the closings say {expected}."
    for row in closings().filter(reopening__isnull=True).order_by("month"):
        now, _ = totals(row.month, gathering.month_after(row.month))
        kept = {(x.purpose, x.tax, x.currency): (x.debit, x.credit) for x in row.totals.all()}
        found = {(x.purpose, x.tax, x.currency): (x.debit, x.credit) for x in now}
        for key in sorted(set(kept) | set(found)):
            was, comes = kept.get(key, (Decimal(0), Decimal(0))), found.get(key, (Decimal(0), Decimal(0)))
            if was != comes:
                yield f"{row.month:%Y-%m} {' '.join(filter(None, key))}: closed with {was[0]} / {was[1]}, now {comes[0]} / {comes[1]}."


def choices() -> QuerySet[AccountChoice]:
    return AccountChoice.objects.all()
