"""What the first page tells each role. Every section is one or two queries, however much there is; lists stop at `SHOWN`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, DecimalField, Exists, F, OuterRef, QuerySet, When
from django.db.models.functions import Coalesce

from inventory.parts.models import Part
from inventory.stock import queries as shelf
from inventory.stock.models import Balance
from jobs.cards import queries as cards
from jobs.cards.models import JobCard, Stage
from jobs.cards.queries import Standing
from jobs.cards.state import CardState
from jobs.draws.models import OPEN_NEED, WORK_LEFT, Need
from jobs.estimates import queries as estimates
from jobs.estimates.models import Estimate
from jobs.invoices import queries as invoices
from jobs.invoices.models import Invoice
from shop.kernel import clock

SHOWN = 40
MOST_NEEDS = 600  # looked at for one page
SOON = timedelta(days=7)
EXPIRES_SOON = timedelta(days=30)
ZERO = Decimal(0)
QTY = DecimalField(max_digits=20, decimal_places=6)


@dataclass(frozen=True)
class Row:
    card: JobCard
    standing: Standing

    @property
    def late(self) -> str:
        return self.standing.late


@dataclass(frozen=True)
class Floor:
    """The open cards: promised within a week or late, the others in the shop, booked for later, and those finished."""

    soon: list[Row]
    rest: list[Row]
    booked: list[Row]
    finished: list[Row]
    more: bool

    @property
    def in_shop(self) -> list[Row]:
        return [r for r in self.soon + self.rest if r.standing.state is CardState.IN_SHOP]

    @property
    def late(self) -> list[Row]:
        return [r for r in self.soon if r.standing.late_days]

    @property
    def waiting(self) -> list[Row]:
        return [r for r in self.in_shop if r.standing.waits]

    def waiting_on(self, *who: str) -> list[Row]:
        """Cards whose next move is theirs: customer, office, mechanic, stores, outside, shop."""
        return [r for r in self.soon + self.rest + self.booked if r.standing.waits.who in who]


def floor(most: int = 3 * SHOWN) -> Floor:
    """The open cards, the soonest promised first."""
    found = list(cards.cards(open=True).order_by("due", "id")[: most + 1])
    rows = [Row(card, cards.standing(card)) for card in found[:most]]
    until = clock.today() + SOON
    active = [r for r in rows if r.standing.state is not CardState.FINISHED]
    soon = [r for r in active if r.card.promised_on and r.card.promised_on <= until]
    later = [r for r in active if r not in soon]
    return Floor(
        soon=soon,
        rest=[r for r in later if r.standing.state is CardState.IN_SHOP],
        booked=[r for r in later if r.standing.state is CardState.BOOKED],
        finished=[r for r in rows if r.standing.state is CardState.FINISHED],
        more=len(found) > most,
    )


@dataclass
class Short:
    """A part of which open stages need more than lies free for them: `missing` in all, for these cards."""

    part: Part
    missing: Decimal
    cards: list[JobCard]


@dataclass
class Keepable:
    """A card of which so many needs could be kept from what is free."""

    card: JobCard
    needs: int


@dataclass(frozen=True)
class Wanted:
    short: list[Short]
    keepable: list[Keepable]
    more: bool


def wanted() -> Wanted:
    """Needs of open cards neither drawn nor kept: what the shelf can't give, by part, and what it can, by card. What is
    free goes to the soonest promised first, as it would be kept."""
    here = JobCard.objects.filter(finished_at__isnull=True, handed_over_at__isnull=True, cancelled_at__isnull=True)
    kept = Case(When(reservation__ended_at__isnull=True, then=F("reservation__quantity")), default=None)
    rows = (
        Need.objects.filter(OPEN_NEED, WORK_LEFT)
        .filter(stage__card__in=list(here.values_list("pk", flat=True)))  # few, whatever lies behind
        .annotate(missing=F("quantity") - F("drawn") - Coalesce(kept, ZERO, output_field=QTY))
        .filter(missing__gt=0)
        .select_related("part", "stage__card__machine")
        .order_by(F("stage__card__promised_on").asc(nulls_last=True), "stage__card", "stage__position", "id")
    )
    needs = list(rows[: MOST_NEEDS + 1])
    free = shelf.free_by_part({n.part_id for n in needs})
    short: dict[int, Short] = {}
    keepable: dict[int, Keepable] = {}
    for need in needs[:MOST_NEEDS]:
        card, at = need.stage.card, (need.part_id, need.stage.card.site_id)
        given = min(need.missing, free.get(at, ZERO))
        if given > 0:
            free[at] -= given
            keepable.setdefault(card.pk, Keepable(card, 0)).needs += 1
        if given < need.missing:
            entry = short.setdefault(need.part_id, Short(need.part, ZERO, []))
            entry.missing += need.missing - given
            if card not in entry.cards:
                entry.cards.append(card)
    return Wanted(list(short.values()), list(keepable.values()), len(needs) > MOST_NEEDS)


def low() -> QuerySet[Part]:
    """Parts at or below their reorder point, the emptiest first."""
    return shelf.low()[:SHOWN]


def expiring() -> list[tuple[Balance, date, int]]:
    """What lies on the shelf and may be used for at most 30 days more: with its last day and how many days are left
    (below zero: expired)."""
    today = clock.today()
    rows = shelf.expiring(today + EXPIRES_SOON)[:SHOWN]
    return [(row, row.last_day, (row.last_day - today).days) for row in rows]  # type: ignore[attr-defined]


def not_invoiced() -> list[JobCard]:
    """Cards whose work is done and for which no invoice was issued, the oldest first. A credited invoice was one."""
    done = JobCard.objects.filter(
        finished_at__isnull=False, cancelled_at__isnull=True, invoiced_at__isnull=True, unbilled_at__isnull=True
    )
    chargeable = Stage.objects.filter(card=OuterRef("pk"), chargeable=True)
    rows = done.filter(Exists(chargeable)).select_related("machine", "customer")
    return list(rows.order_by("finished_at", "id")[:SHOWN])


def unanswered() -> list[Estimate]:
    """Estimates that wait for the customer's word, the soonest to run out first."""
    return list(estimates.estimates(state="open").order_by("valid_until", "id")[:SHOWN])


def overdue() -> list[tuple[Invoice, Decimal]]:
    """Invoices past their day with what is still to pay, the oldest first."""
    rows = invoices.invoices(state="overdue").order_by("due_on", "id")[:SHOWN]
    return [(row, invoices.outstanding(row)) for row in rows]
