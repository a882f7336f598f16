"""What is missing is ordered straight from the need or the card: onto the draft order of who usually sells it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Sum

from inventory.buying import actions as buying
from inventory.buying import queries as offers
from inventory.buying.models import OrderLine
from inventory.parts.models import Part
from jobs.cards.actions.locking import called, must_be_current, must_be_open
from jobs.cards.models import JobCard
from jobs.draws.models import OPEN_NEED, WORK_LEFT, Need, Promise
from shop.kernel.decimals import plain
from shop.kernel.errors import NotFound, Refused
from shop.kernel.quantity import positive
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..supply import agreed, label_of, situation
from .locking import hold_needs, must_be_in_use
from .moving import promise
from .needs import refuse_declined

ZERO = Decimal(0)


@dataclass(frozen=True)
class Ordered:
    """What was put onto draft orders for a card, and the parts that nobody is noted to sell."""

    needs: list[Need]
    lines: list[OrderLine]
    nobody: list[Part]


@writes
def order_for(need_id: int, *, by: Person, quantity: Decimal | None = None) -> OrderLine:
    """Order a part for a need, from the supplier of its preferred offer: `quantity`, by default what is missing and neither free
    nor coming. The line bears the card's number; what comes of it is kept for the need first.

    What the draft's line for this card has over in its package is taken before more is ordered. Raises NotFound, BadInput,
    Refused (nothing is missing, nobody is noted to sell it, declined, card closed, stage over).
    """
    need = hold_needs([need_id])[need_id]
    card, part = need.stage.card, need.part
    must_be_open(card)
    must_be_current(need.stage)
    must_be_in_use(part)
    refuse_declined(need, "It isn't ordered without a new go-ahead.")
    supply = situation(part.pk, card.site_id).supplies().get(need.pk)
    if quantity is None:
        quantity = supply.short if supply else ZERO
        if not quantity:
            raise Refused(
                f"Of {part.number} nothing is missing for {called(need.stage)}: what is needed is drawn, kept, free on the "
                "shelf or on order.",
                code="nothing-missing",
            )
    quantity = positive(quantity, part.unit)
    offer = offers.usual_offers([part.pk]).get(part.pk)
    if offer is None:
        raise Refused(
            f"Nobody is noted to sell {part.number}. Add an offer of a supplier, then order it.", code="no-offer"
        )
    label = label_of(card.number)
    line, over = _over(part.pk, offer.supplier_id, card.site_id, label)
    more = quantity - over
    if line is None or more > 0:
        line = buying.add_to_order(
            by=by, supplier_id=offer.supplier_id, part_id=part.pk, quantity=more, label=label, site_id=card.site_id
        )
    promise(need, line.pk, quantity, by)
    record(
        by, "need.ordered", need, root=card, part=part.number, quantity=plain(quantity), supplier=offer.supplier.name,
        stage=called(need.stage),
    )  # fmt: skip
    return line


@writes
def order_missing(card_id: int, *, by: Person) -> Ordered:
    """Order all that a card lacks: neither kept, free nor coming. What waits for the customer's go-ahead is left out; `order_for`
    orders it alone. Raises NotFound, Refused (nothing is missing, nobody is noted to sell any of it, card closed)."""
    rows = Need.objects.filter(OPEN_NEED, WORK_LEFT, stage__card=card_id).order_by("part_id", "id")
    wanted = [n for n in rows.select_related("part", "stage__card") if agreed(n.stage)]
    sold = offers.usual_offers({n.part_id for n in wanted})
    found, nobody = Ordered([], [], []), {}
    for row in wanted:
        short = _short(row)
        if not short:
            continue
        if row.part_id not in sold:
            nobody[row.part_id] = row.part
            continue
        line = order_for(row.pk, by=by)
        found.needs.append(row)
        found.lines.append(line)
    found.nobody.extend(nobody.values())
    if not found.needs and nobody:
        named = ", ".join(p.number for p in found.nobody[:5])
        raise Refused(
            f"Nobody is noted to sell {named}. Add an offer of a supplier on the page of the part, then order it.",
            code="no-offer",
        )
    if not found.needs:
        _refuse_card(card_id)
    return found


def _short(need: Need) -> Decimal:
    its = situation(need.part_id, need.stage.card.site_id).supplies().get(need.pk)
    return its.short if its else ZERO


def _refuse_card(card_id: int) -> None:
    card = JobCard.objects.filter(pk=card_id).first()
    if card is None:
        raise NotFound("There is no such job card.")
    must_be_open(card)
    raise Refused(
        f"Nothing is missing on card {card.number}: what it needs is drawn, kept, free on the shelf, on order, or waits for the "
        "customer's go-ahead.",
        code="nothing-missing",
    )


def _over(part_id: int, supplier_id: int, site_id: int, label: str) -> tuple[OrderLine | None, Decimal]:
    """The line of the supplier's draft for this card, and what it orders beyond what is promised of it."""
    drafts = OrderLine.objects.filter(
        part=part_id, label=label, order__supplier=supplier_id, order__site=site_id, order__sent_at__isnull=True
    )
    line = drafts.select_related("order").order_by("id").first()
    if line is None:
        return None, ZERO
    promised = (
        Promise.objects.filter(
            order_line=line, need__removed_at__isnull=True, need__declined_at__isnull=True
        ).aggregate(q=Sum("quantity"))["q"]
        or ZERO
    )
    return line, max(line.quantity - promised, ZERO)
