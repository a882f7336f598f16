"""Letters that need every room: a recall to one customer."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils import timezone

from inventory.stock.models import Lot
from jobs.draws.models import Draw
from jobs.estimates import parties, printing
from shop.business import queries as business
from shop.documents import shapes
from shop.documents.typesetting import typeset
from shop.kernel import clock


def recall(lot: Lot, draws: Sequence[Draw], *, what: str, todo: str) -> bytes:
    """`what` is wrong with the lot and what the customer should do (`todo`; empty: call us), as the shop words it. All
    `draws` are of one customer. Raises what `typeset` raises."""
    customer = draws[0].card.customer
    language = parties.language_of(customer)
    seller = parties.seller(business.profile())
    letter = shapes.Recall(
        number=lot.number, batch=lot.batch, date=clock.today(), part=f"{lot.part.number} {lot.part.name}",
        business=printing.business_of(seller, language),
        customer=printing.party_of(parties.buyer(customer), seller, language),
        what=what, todo=todo,
        machines=tuple(_fitted(d) for d in draws),
    )  # fmt: skip
    return typeset("recall", letter, language=language, timestamp=clock.now())


def _fitted(d: Draw) -> shapes.RecalledMachine:
    return shapes.RecalledMachine(
        name=d.card.machine.title, serial=d.card.machine.serial_no, card=d.card.number, date=timezone.localdate(d.at),
        qty=d.quantity - d.returned, unit=d.part.unit, lot=d.movement.lot.number,
    )  # fmt: skip
