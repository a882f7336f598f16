"""How near estimates come: what was agreed and estimated against what was billed and took, for cards first invoiced in some
days. One card by its stages is `jobs.invoices.outcome`; each line here is the sum of one of those, less core deposits: what is
paid back whole says nothing about an estimate, neither as it is agreed nor as it is billed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property

from django.db.models import Sum

from jobs.books.gathering import begins
from jobs.books.ratios import of_hundred
from jobs.cards.models import JobCard
from jobs.estimates import outlook
from jobs.estimates import queries as estimates
from jobs.estimates.models import Estimate, LineKind
from jobs.estimates.outlook import Outlook
from jobs.estimates.pricing import is_counted
from jobs.estimates.queries import Agreed
from jobs.invoices import cores, outcome, sales
from jobs.invoices.models import Invoice
from jobs.timebook import hours as clocked
from jobs.timebook.models import TimeBooking
from jobs.timebook.queries import VALID

from .seconds import worked
from .shares import Spread, at_or_below, spread

ZERO = Decimal(0)


@dataclass(frozen=True)
class Job:
    """Before tax. `agreed`: what the customer had said yes to, less a discount on the whole; `billed`: what issued
    invoices sold (a deposit once it is taken off), less credit notes; both without core deposits, which are `cores_agreed` and
    `cores_billed`. `estimates`: those that were agreed to. `outlook`: the likely and careful figures kept with the only one of
    them, without the core deposits in them; None where there are several, whose figures do not add up, where a line that
    counts in it was not agreed to, since the figures are of the whole, or where none was kept."""

    card: JobCard
    agreed: Decimal
    billed: Decimal
    hours_agreed: Decimal
    hours_taken: Decimal
    estimates: list[Estimate]
    outlook: Outlook | None
    cores_agreed: Decimal = ZERO
    cores_billed: Decimal = ZERO

    @property
    def percent(self) -> Decimal | None:
        """Billed of a hundred agreed; None when nothing was agreed."""
        return of_hundred(self.billed, self.agreed)


@dataclass(frozen=True)
class Calibration:
    """Of `jobs` with likely and careful figures, how many came to no more than each. Half should stay at or below the likely
    one, four in five at or below the careful one."""

    jobs: int
    within_likely: int
    within_careful: int

    @property
    def likely_percent(self) -> Decimal | None:
        return of_hundred(Decimal(self.within_likely), Decimal(self.jobs))

    @property
    def careful_percent(self) -> Decimal | None:
        return of_hundred(Decimal(self.within_careful), Decimal(self.jobs))


@dataclass(frozen=True)
class Report:
    since: date
    until: date
    currency: str
    lines: list[Job]

    def _sum(self, name: str) -> Decimal:
        return sum((getattr(x, name) for x in self.lines), ZERO)

    @property
    def agreed(self) -> Decimal:
        return self._sum("agreed")

    @property
    def billed(self) -> Decimal:
        return self._sum("billed")

    @property
    def hours_agreed(self) -> Decimal:
        return self._sum("hours_agreed")

    @property
    def hours_taken(self) -> Decimal:
        return self._sum("hours_taken")

    @property
    def billed_agreed(self) -> Decimal:
        """Billed on the cards where something was agreed: what `percent` sets against agreed."""
        return sum((x.billed for x in self.lines if x.percent is not None), ZERO)

    @property
    def percent(self) -> Decimal | None:
        """Billed of a hundred agreed, over the cards where something was agreed."""
        return of_hundred(self.billed_agreed, self.agreed)

    @cached_property
    def spread(self) -> Spread | None:
        """Of billed of a hundred agreed, over the cards where something was agreed."""
        return spread([x.percent for x in self.lines if x.percent is not None])

    @property
    def nothing_agreed(self) -> int:
        """Cards on which nothing was agreed: they have no ratio."""
        return sum(1 for x in self.lines if x.percent is None)

    @cached_property
    def price(self) -> Calibration:
        return _calibration([(x.billed, x.outlook.likely, x.outlook.careful) for x in self.lines if x.outlook])

    @cached_property
    def hours(self) -> Calibration:
        said = [x for x in self.lines if x.outlook]
        return _calibration(
            [(x.hours_taken, x.outlook.likely_hours, x.outlook.careful_hours) for x in said if x.outlook]
        )


def _calibration(rows: Sequence[tuple[Decimal, Decimal, Decimal]]) -> Calibration:
    likely = at_or_below([(came, said) for came, said, _ in rows])
    return Calibration(len(rows), likely, at_or_below([(came, said) for came, _, said in rows]))


def report(since: date, until: date, currency: str) -> Report:
    """Cards first invoiced from `since` to `until`, both counted, by number, as known now. A fixed number of queries."""
    first, end = begins(since), begins(until + timedelta(days=1))
    cards = JobCard.objects.filter(invoiced_at__gte=first, invoiced_at__lt=end)
    ids = cards.values("pk")
    said = estimates.agreed_on_cards(ids)
    documents = Invoice.objects.filter(card__in=ids, issued_at__isnull=False)
    billed, deposits = sales.by_card(documents), cores.net_of(documents)
    taken: dict[int, Decimal] = {}
    booked = TimeBooking.objects.filter(VALID, ended_at__isnull=False, stage__card__in=ids).order_by()
    for _stage, card, spent in booked.values_list("stage", "stage__card").annotate(
        s=Sum(worked("started_at", "ended_at"))
    ):
        taken[card] = taken.get(card, ZERO) + clocked.hours_of(spent)  # by stage, as the card itself shows it
    lines = [
        _job(
            row, said.get(row.pk, []), billed.get(row.pk, ZERO), deposits.get(row.pk, ZERO), taken.get(row.pk, ZERO),
            currency,
        )
        for row in cards.select_related("machine", "customer").order_by("number")
    ]  # fmt: skip
    return Report(since, until, currency, lines)


def _job(
    card: JobCard, said: list[Agreed], billed: Decimal, deposits: Decimal, taken: Decimal, currency: str
) -> Job:  # fmt: skip
    hours, net, off = outcome.quoted(said, currency)
    at_prices = [x.at_price for x in said if x.at_price is not None]
    back = sum((x.net for x in at_prices if x.kind == LineKind.CORE), ZERO)
    agreed_to = {x.line.estimate_id: x.line.estimate for x in said if x.at_price is not None}
    return Job(
        card, sum(net.values(), ZERO) - off - back, billed - deposits, sum(hours.values(), ZERO), taken,
        list(agreed_to.values()), _outlook(said, list(agreed_to.values())), back, deposits,
    )  # fmt: skip


def _outlook(said: list[Agreed], agreed_to: list[Estimate]) -> Outlook | None:
    """As `Job` has it. A core deposit is certain, so that both figures are less by it."""
    if len(agreed_to) != 1:
        return None
    its = [x for x in said if x.line.estimate_id == agreed_to[0].pk]
    kept = outlook.read(agreed_to[0].outlook)
    if kept is None or any(is_counted(x.line) and x.at_price is None for x in its):
        return None
    back = sum((x.line.net for x in its if x.line.kind == LineKind.CORE and x.at_price is not None), ZERO)
    return replace(kept, likely=kept.likely - back, careful=kept.careful - back)
