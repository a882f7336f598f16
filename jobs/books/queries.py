"""Reads of what the room keeps itself: accounts, closings, and what may be closed next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import chain, groupby, repeat
from operator import itemgetter

from django.db.models import QuerySet

from jobs.invoices.models import Payment
from shop.kernel import clock

from . import gathering, journal
from .accounts import ALL
from .chart import Account, Chart, Charts
from .journal import ZERO, Total
from .models import AccountChoice, Gate, MonthClosing

ORDER = tuple(p.key for p in ALL)
SETTLED = timedelta(hours=1)  # a month is closed when no write of it can still be under way


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
    told: Counter[str] = Counter()
    return journal.totals(_counted(since, until, told), ORDER), told["entries"]


def _counted(since: date, until: date, told: Counter[str]) -> Iterator[journal.Entry]:
    for entry in gathering.entries(since, until):
        told["entries"] += 1
        yield entry


def by_account(since: date, until: date) -> tuple[list[tuple[Account, Total]], int]:
    """What each account came to from `since` and before `until`, rounded to the cent, in the order of purposes; and how many
    entries there were. A purpose whose account changed between closed months stands once for each."""
    charts = Charts(since, until)
    told: Counter[str] = Counter()
    found: dict[tuple[str, int, str, str, str], tuple[Account, Total]] = {}
    for chart, own in groupby(_counted(since, until, told), key=lambda entry: charts.on(entry.on)):
        for x in journal.totals(own, ORDER):
            account = chart.of(x.purpose, x.tax)
            key = (x.currency, ORDER.index(x.purpose), x.tax, account.number, account.name)
            first, had = found.get(key, (account, Total(x.purpose, x.tax, x.currency, ZERO, ZERO)))
            found[key] = (first, replace(had, debit=had.debit + x.debit, credit=had.credit + x.credit))
    rows = [found[key] for key in sorted(found, key=itemgetter(0, 1, 2))]
    last = charts.on(until - timedelta(days=1)).of("rounding")  # of what rounding to the cent leaves open
    accounts = chain((account for account, _ in rows), repeat(last))
    return list(zip(accounts, journal.rounded(x for _, x in rows), strict=False)), told["entries"]


@dataclass(frozen=True, slots=True)
class Sought:
    """Only the postings to an account, of a purpose, of it at a VAT rate; "" is any."""

    account: str = ""
    purpose: str = ""
    tax: str = ""

    def __bool__(self) -> bool:
        return bool(self.account or self.purpose or self.tax)

    def of(self, entry: journal.Entry, chart: Chart) -> journal.Entry | None:
        """The entry with those of its lines, or None."""
        lines = tuple(
            x
            for x in entry.lines
            if self.purpose in ("", x.purpose)
            and self.tax in ("", x.tax)
            and self.account in ("", chart.of(x.purpose, x.tax).number)
        )
        return replace(entry, lines=lines) if lines else None


def page(
    since: date, until: date, charts: Charts, *, limit: int, cursor: str | None = None, sought: Sought = Sought()
) -> gathering.Page:
    """Entries posted from `since` and before `until`, by day, or what is sought of them. Raises BadInput for a cursor that isn't
    ours."""
    if not sought:
        return gathering.page(since, until, limit=limit, cursor=cursor)
    return gathering.sought(since, until, lambda x: sought.of(x, charts.on(x.on)), limit=limit, cursor=cursor)


def entries(since: date, until: date, charts: Charts, sought: Sought = Sought()) -> Iterator[journal.Entry]:
    """The same, all of them."""
    for entry in gathering.entries(since, until):
        found = sought.of(entry, charts.on(entry.on)) if sought else entry
        if found is not None:
            yield found


def payers(entries: Iterable[journal.Entry]) -> dict[int, int]:
    """The customers of the payments among them, by payment."""
    paid = {x.subject[1] for x in entries if x.subject[0] == "payment"}
    return dict(Payment.objects.filter(pk__in=paid).values_list("pk", "customer")) if paid else {}


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
