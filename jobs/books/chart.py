"""Which account stands for what: now, and on the days of a closed month."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Max

from .accounts import ALL, BY_KEY, Purpose
from .models import AccountChoice, ClosingTotal, MonthClosing

Chosen = Mapping[tuple[str, str], AccountChoice | ClosingTotal]  # by purpose and VAT rate


@dataclass(frozen=True, slots=True)
class Account:
    """The account of a purpose (at one VAT rate). `example`: nobody has chosen it yet."""

    purpose: Purpose
    tax: str
    number: str
    name: str
    example: bool


class Chart:
    """Every account that was chosen, and the examples for the others. Without `chosen`, as it is now."""

    def __init__(self, chosen: Chosen | None = None) -> None:
        if chosen is None:
            newest = AccountChoice.objects.order_by().values("purpose", "tax").annotate(last=Max("id")).values("last")
            chosen = _by_key(AccountChoice.objects.filter(pk__in=newest))
        self.chosen = chosen

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


class Charts:
    """The chart of each day from `since` and before `until`. A closed month has the accounts it was closed with, whatever was
    chosen since; the months that were closed with the first, those that stood then. At most three queries."""

    def __init__(self, since: date, until: date) -> None:
        choices = list(AccountChoice.objects.order_by("id"))
        self.now = Chart(_by_key(choices))
        closed = list(
            MonthClosing.objects.filter(reopening__isnull=True, month__gte=since.replace(day=1)).order_by("month")
        )
        closed = [x for x in closed if x.month < until] or closed[:1]
        kept: dict[int, list[ClosingTotal]] = {x.pk: [] for x in closed}
        for total in ClosingTotal.objects.filter(closing__in=closed) if closed else ():
            kept[total.closing_id].append(total)
        self._closed = [(x.month, Chart(_stood(choices, x.at) | _by_key(kept[x.pk]))) for x in closed]
        self._by_month: dict[date, Chart] = {}

    def on(self, day: date) -> Chart:
        month = day.replace(day=1)
        if month not in self._by_month:
            self._by_month[month] = next((chart for last, chart in self._closed if month <= last), self.now)
        return self._by_month[month]


def _by_key(
    rows: Iterable[AccountChoice] | Iterable[ClosingTotal],
) -> dict[tuple[str, str], AccountChoice | ClosingTotal]:
    """The last of each counts."""
    return {(x.purpose, x.tax): x for x in rows}


def _stood(choices: Iterable[AccountChoice], at: datetime) -> dict[tuple[str, str], AccountChoice | ClosingTotal]:
    return _by_key([x for x in choices if x.at <= at])
