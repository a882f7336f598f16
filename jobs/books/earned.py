"""What each job earned: invoiced, less what its parts, work sent out and hours cost."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Q

from jobs.cards.models import JobCard
from jobs.estimates.pricing import HOUR
from jobs.invoices import cores, sales
from jobs.invoices.models import Invoice
from jobs.sublet import queries as sublet
from jobs.timebook import hours as clocked
from shop.kernel import clock
from shop.kernel.rounding import round_money

from .gathering import begins
from .moved import costs_of_cards
from .progress import labour_of
from .ratios import each, of_hundred

ZERO = Decimal(0)
WIDTH, BAR, GAP, MOST = Decimal(640), 14, 6, 30  # of the drawing
TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class Job:
    """Before tax, in the shop's currency. `net`: what issued invoices sold (a deposit once it is taken off), less credit
    notes and less core deposits that are owed back; `parts`, `sent_out` and
    `labour` as in work in progress, up to now. `unpriced` hours have no cost and count as nothing. `sold`: hours on labour lines that
    are charged by the hour; `labour_net` what all labour lines charge, after their share of discounts on whole documents and for
    early payment (`sales.off_labour`)."""

    card: JobCard
    net: Decimal
    parts: Decimal
    hours: Decimal
    labour: Decimal
    unpriced: Decimal
    sold: Decimal = ZERO
    labour_net: Decimal = ZERO
    sent_out: Decimal = ZERO

    @property
    def earned(self) -> Decimal:
        """Net less parts less what was sent out less labour; below zero when it cost more than it brought."""
        return self.net - self.parts - self.sent_out - self.labour

    @property
    def percent(self) -> Decimal | None:
        """Earned of a hundred invoiced; None when nothing was."""
        return (self.earned * 100 / self.net).quantize(TENTH) if self.net > 0 else None


@dataclass(frozen=True, slots=True)
class Bar:
    number: str
    y: int
    x: Decimal
    width: Decimal
    job: Job


@dataclass(frozen=True, slots=True)
class Report:
    """Cards first invoiced, or closed without an invoice, in a span of days. The totals are the sums of the lines as they are shown."""

    since: date
    until: date
    currency: str
    lines: list[Job]

    def _sum(self, name: str) -> Decimal:
        return sum((getattr(x, name) for x in self.lines), ZERO)

    @property
    def net(self) -> Decimal:
        return self._sum("net")

    @property
    def parts(self) -> Decimal:
        return self._sum("parts")

    @property
    def sent_out(self) -> Decimal:
        return self._sum("sent_out")

    @property
    def labour(self) -> Decimal:
        return self._sum("labour")

    @property
    def earned(self) -> Decimal:
        return self._sum("earned")

    @property
    def hours(self) -> Decimal:
        return self._sum("hours")

    @property
    def sold(self) -> Decimal:
        return self._sum("sold")

    @property
    def labour_net(self) -> Decimal:
        return self._sum("labour_net")

    @property
    def sold_of_worked(self) -> Decimal | None:
        """Hours sold in per cent of hours worked."""
        return of_hundred(self.sold, self.hours)

    @property
    def rate(self) -> Decimal | None:
        """What labour lines charge for each hour worked, after discounts."""
        return each(self.labour_net, self.hours)


def report(since: date, until: date, currency: str) -> Report:
    """Jobs first invoiced, or closed without an invoice, from `since` to `until`, both counted, by card number; what they brought
    and cost as known now."""
    first, end = begins(since), begins(until + timedelta(days=1))
    cards = JobCard.objects.filter(
        Q(invoiced_at__gte=first, invoiced_at__lt=end)
        | Q(invoiced_at__isnull=True, unbilled_at__gte=first, unbilled_at__lt=end)
    )
    ids = cards.values("pk")
    documents = Invoice.objects.filter(card__in=ids, issued_at__isnull=False)
    net = sales.by_card(documents)
    for card, amount in cores.owed(documents).items():
        net[card] = net.get(card, ZERO) - amount
    parts = {card: sum((v for _, v in its), ZERO) for card, its in costs_of_cards(ids).items()}
    out = {card: sum((v for _, v in its), ZERO) for card, its in sublet.costs_of_cards(ids).items()}
    booked = labour_of(cards, clock.now())
    sold: dict[int, Decimal] = {}
    charged: dict[int, Decimal] = {}
    labour_lines = sales.lines(documents).filter(kind="labour")
    for card, kind, unit, quantity, amount in labour_lines.values_list(
        "invoice__card", "invoice__kind", "unit", "quantity", "net"
    ):
        if card is not None:
            charged[card] = charged.get(card, ZERO) + sales.sign(kind) * amount
            if unit == HOUR:
                sold[card] = sold.get(card, ZERO) + sales.sign(kind) * quantity
    for card, off in sales.off_labour(documents).items():
        charged[card] = charged.get(card, ZERO) - off
    lines = []
    for row in cards.select_related("machine", "customer").order_by("number"):
        seconds, unpriced, labour = booked.get(row.pk, (0, 0, ZERO))
        lines.append(
            Job(
                row, round_money(net.get(row.pk, ZERO), currency), round_money(parts.get(row.pk, ZERO), currency),
                clocked.hours_of(seconds), round_money(labour, currency), clocked.hours_of(unpriced),
                sold.get(row.pk, ZERO), charged.get(row.pk, ZERO), round_money(out.get(row.pk, ZERO), currency),
            )
        )  # fmt: skip
    return Report(since, until, currency, lines)


def picture(lines: list[Job]) -> tuple[list[Bar], Decimal, int]:
    """What each of the first jobs earned, as bars from a line at nought: bars, where that line is, height of the drawing."""
    shown = lines[:MOST]
    highest = max((x.earned for x in shown), default=ZERO).max(ZERO)
    lowest = min((x.earned for x in shown), default=ZERO).min(ZERO)
    left = Decimal(90)  # for the numbers
    scale = (WIDTH - left) / ((highest - lowest) or 1)
    nought = (left - lowest * scale).quantize(TENTH)
    bars = []
    for n, job in enumerate(shown):
        width = (job.earned.copy_abs() * scale).quantize(TENTH)
        x = nought if job.earned >= 0 else nought - width
        bars.append(Bar(job.card.number, n * (BAR + GAP), x, width, job))
    return bars, nought, max(len(shown), 1) * (BAR + GAP)
