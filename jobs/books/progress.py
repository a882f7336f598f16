"""What cards that are not invoiced have cost: work in progress at the end of a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q, QuerySet

from jobs.cards.models import JobCard
from jobs.sublet import queries as sublet
from jobs.timebook import hours as clocked
from jobs.timebook.models import TimeBooking
from jobs.timebook.queries import VALID
from shop.kernel import clock
from shop.kernel.rounding import round_money

from .gathering import begins
from .moved import costs_of_cards

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class CardCost:
    """`parts`: lots drawn less what came back, with late differences of cost; `labour`: hours at what an hour of each person
    cost when it was booked; `sent_out`: what outside firms charged, less what was taken back. All before tax, rounded to the
    cent. `unpriced` hours have no cost and count as nothing."""

    card: JobCard
    parts: Decimal
    hours: Decimal
    labour: Decimal
    unpriced: Decimal
    sent_out: Decimal = ZERO

    @property
    def cost(self) -> Decimal:
        return self.parts + self.sent_out + self.labour


@dataclass(frozen=True, slots=True)
class Report:
    """Work in progress at the end of a day, by card. The totals are the sums of the lines as they are shown."""

    day: date
    currency: str
    lines: list[CardCost]

    @property
    def parts(self) -> Decimal:
        return sum((x.parts for x in self.lines), ZERO)

    @property
    def labour(self) -> Decimal:
        return sum((x.labour for x in self.lines), ZERO)

    @property
    def sent_out(self) -> Decimal:
        return sum((x.sent_out for x in self.lines), ZERO)

    @property
    def cost(self) -> Decimal:
        return self.parts + self.sent_out + self.labour


def report(day: date, currency: str) -> Report:
    """Cost so far of every card that was neither invoiced, closed without an invoice nor cancelled by the end of `day` (today: by now), by number.

    Hours count that had ended by then, as they are known now. Reads what those cards drew, sent out and booked, however old the books.
    """
    moment = min(begins(day + timedelta(days=1)), clock.now() + timedelta(microseconds=1))
    cards = JobCard.objects.filter(
        Q(invoiced_at__isnull=True) | Q(invoiced_at__gte=moment),
        Q(cancelled_at__isnull=True) | Q(cancelled_at__gte=moment),
        Q(unbilled_at__isnull=True) | Q(unbilled_at__gte=moment),
        opened_at__lt=moment,
    )
    ids = list(cards.values_list("pk", flat=True))  # few, and the database would guess many
    parts = {card: sum((v for _, v in its), ZERO) for card, its in costs_of_cards(ids, moment).items()}
    out = {card: sum((v for _, v in its), ZERO) for card, its in sublet.costs_of_cards(ids, moment).items()}
    booked = labour_of(JobCard.objects.filter(pk__in=ids), moment)
    rows = (
        JobCard.objects.filter(pk__in={*parts, *out, *booked}).select_related("machine", "customer").order_by("number")
    )
    lines = []
    for row in rows:
        seconds, unpriced, labour = booked.get(row.pk, (0, 0, ZERO))
        line = CardCost(
            row, round_money(parts.get(row.pk, ZERO), currency), clocked.hours_of(seconds), round_money(labour, currency),
            clocked.hours_of(unpriced), round_money(out.get(row.pk, ZERO), currency),
        )  # fmt: skip
        if line.cost or line.hours:
            lines.append(line)
    return Report(day, currency, lines)


def month_ends(day: date, currency: str, count: int = 12) -> list[tuple[date, Decimal]]:
    """Cost at the ends of the last months before `day`, and at `day` itself, the oldest first: each what `report` of that day
    comes to. A fixed number of queries."""
    return [(d, report(d, currency).cost) for d in clock.month_ends(day, count)]


def labour_of(cards: QuerySet[JobCard], until: datetime) -> dict[int, tuple[int, int, Decimal]]:
    """Seconds, seconds without a cost, and cost, by card."""
    found: dict[int, tuple[int, int, Decimal]] = {}
    rows = TimeBooking.objects.filter(VALID, stage__card__in=cards.values("pk"), ended_at__lte=until)
    for card, start, end, minutes, rate in rows.values_list(
        "stage__card", "started_at", "ended_at", "break_minutes", "cost_per_hour"
    ):
        if end is None:
            continue
        spent = clocked.seconds_worked(start, end, minutes)
        seconds, unpriced, cost = found.get(card, (0, 0, ZERO))
        more = ZERO if rate is None else rate * spent / 3600
        found[card] = (seconds + spent, unpriced + (spent if rate is None else 0), cost + more)
    return found
