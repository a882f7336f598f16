"""After the work: what a card was quoted at, what it took and what was billed, stage by stage."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from jobs.cards.models import JobCard, Stage
from jobs.estimates import queries as estimates
from jobs.estimates.models import Estimate, LineKind
from jobs.estimates.pricing import takes_discount
from jobs.learning import queries as learning
from jobs.learning.hours import Learned
from jobs.timebook import queries as timebook
from shop.business import queries as business
from shop.kernel.totals import percent_of

from . import sales
from .models import Invoice

ZERO = Decimal(0)
HOUR = "HUR"


@dataclass(frozen=True, slots=True)
class Row:
    """One stage, or (without one) what belongs to none: `discount` is what was taken off the whole. Amounts before tax.

    quoted: what the customer agreed to, at the price agreed. billed: of issued invoices, less what was credited. A deposit is billed
    by the invoice that takes it off (`sales`)."""

    stage: Stage | None
    name: str
    quoted_hours: Decimal
    done_hours: Decimal
    quoted: Decimal
    billed: Decimal
    learned: Learned | None = None

    @property
    def hours_more(self) -> Decimal:
        return self.done_hours - self.quoted_hours

    @property
    def difference(self) -> Decimal:
        return self.billed - self.quoted


@dataclass(frozen=True, slots=True)
class Outcome:
    """Of a whole card; `sum` adds the rows up: its billed is the net of all issued invoices less credit notes, to the cent;
    of deposits, what an invoice has taken off."""

    card: JobCard
    currency: str
    rows: list[Row]
    sum: Row

    @property
    def pk(self) -> int:
        return self.card.pk


def of_card(card_id: int) -> Outcome | None:
    """Estimate against actual of a card in a constant number of queries; None when there is no such card."""
    card = JobCard.objects.filter(pk=card_id).first()
    if card is None:
        return None
    currency = business.profile().currency
    hours_quoted, net_quoted, quoted_off = quoted(estimates.agreed_on_card(card_id), currency)
    billed, billed_off = _billed(card_id)
    stages = list(Stage.objects.filter(card=card_id).order_by("position", "id"))
    booked = timebook.hours_by_stage(stages)
    known = {x.stage.pk: x.learned for x in learning.of_card(card_id)}
    rows = [
        Row(s, s.name, hours_quoted[s.pk], booked[s.pk].booked, net_quoted[s.pk], billed[s.pk], known.get(s.pk))
        for s in stages
        if s.removed_at is None or booked[s.pk].booked or net_quoted[s.pk] or billed[s.pk]
    ]
    if hours_quoted[None] or net_quoted[None] or billed[None]:
        rows.append(Row(None, _("Without a stage"), hours_quoted[None], ZERO, net_quoted[None], billed[None]))
    if quoted_off or billed_off:
        rows.append(Row(None, _("Taken off the whole"), ZERO, ZERO, -quoted_off, -billed_off))
    return Outcome(card, currency, rows, _sum(rows))


def _sum(rows: Sequence[Row]) -> Row:
    def add(name: str) -> Decimal:
        return sum((getattr(x, name) for x in rows), ZERO)

    return Row(None, _("The whole card"), add("quoted_hours"), add("done_hours"), add("quoted"), add("billed"))


def quoted(
    said: Sequence[estimates.Agreed], currency: str
) -> tuple[dict[int | None, Decimal], dict[int | None, Decimal], Decimal]:
    """Hours and net by stage of what was agreed on a card, and the discount on it as a whole."""
    hours: dict[int | None, Decimal] = defaultdict(Decimal)
    net: dict[int | None, Decimal] = defaultdict(Decimal)
    of: dict[int, tuple[Estimate, Decimal]] = {}
    for x in said:
        line = x.at_price
        if line is None:
            continue
        net[line.stage_id] += line.net
        if line.kind == LineKind.LABOUR and line.unit == HOUR:
            hours[line.stage_id] += line.quantity
        if takes_discount(line):
            of[line.estimate_id] = (line.estimate, of.get(line.estimate_id, (line.estimate, ZERO))[1] + line.net)
    off = sum((percent_of(whole, e.discount_percent, currency) for e, whole in of.values() if e.discount_percent), ZERO)
    return hours, net, off


def _billed(card_id: int) -> tuple[dict[int | None, Decimal], Decimal]:
    """Net by stage of what was billed, and what was taken off as a whole: lines and totals as issued, a credit note's less."""
    net: dict[int | None, Decimal] = defaultdict(Decimal)
    issued = Invoice.objects.filter(card=card_id, issued_at__isnull=False)
    off = -sales.by_card(issued).get(card_id, ZERO)
    for stage, kind, amount in sales.lines(issued).values_list("stage", "invoice__kind", "net"):
        net[stage] += sales.sign(kind) * amount
        off += sales.sign(kind) * amount
    return net, off
