from __future__ import annotations

from decimal import Decimal

from inventory.parts import kits
from inventory.parts import queries as catalogue
from inventory.parts.models import KitPart
from shop.kernel.decimals import plain
from shop.kernel.errors import Refused
from shop.kernel.rounding import EXACT, minor_unit
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import record

from ..models import Lot, Movement, StockLevel
from ..posting import Entry, hold_bins, lock, post, site_of, value_of
from .moving import keep_promises, lying_there, the_lot


@writes
def break_open(*, by: Person, lot_id: int, bin_id: int, quantity: Decimal, to_bin_id: int | None = None) -> list[Lot]:
    """Take kits of a lot apart: they leave the bin and their parts lie in it, or in `to_bin_id` at the same site, as lots of
    their own. What the kits cost is spread over the parts by their stated shares, else by sale price, to the cent; batch and
    last day go along.

    Raises NotFound, BadInput, Refused (no kit, more than lies there, kept for somebody, another site).
    """
    lot = the_lot(lot_id)
    inside = list(catalogue.kit_parts(kit_id=lot.part_id))
    if not inside:
        raise Refused(
            f"{lot.part.number} is no kit. Say on its page under Parts what is in it.",
            code="no-kit",
            part_id=lot.part_id,
        )
    site_id = site_of(bin_id)
    into = to_bin_id or bin_id
    if site_of(into) != site_id:
        raise Refused(
            "The other bin is at another site. Break the kit open first, then move its parts.", code="other-site"
        )
    levels = lock({(part_id, site_id) for part_id in (lot.part_id, *(k.part_id for k in inside))}, create=True)
    hold_bins(bin_id, into)
    level = levels[lot.part_id, site_id]
    balance, quantity = lying_there(level, lot, bin_id, quantity)
    keep_promises(level, balance, quantity, leaves=True)
    kit_lot, label = balance.lot, f"kit {lot.part.number}, lot {lot.number}"
    out = Entry(
        Movement.Kind.KIT, level, lot.pk, bin_id, -quantity, kit_lot.cost, label="broken open", balance_id=balance.pk,
        on_hand=balance.on_hand,
    )  # fmt: skip
    made = _lots(kit_lot, inside, quantity, {k.part_id: levels[k.part_id, site_id] for k in inside})
    entries = [
        Entry(Movement.Kind.KIT, at, new.pk, into, many, new.unit_cost, label=label, fresh=True)
        for new, many, at in made
    ]
    post(by, [out, *entries])
    lots = [new for new, _, _ in made]
    record(by, "kit.broken-open", lot, root=lot.part, quantity=plain(quantity), lots=[new.number for new in lots])
    return lots


def _lots(
    kit: Lot, inside: list[KitPart], kits_opened: Decimal, levels: dict[int, StockLevel]
) -> list[tuple[Lot, Decimal, StockLevel]]:
    """The lots of what was in the kits, made, with how much of each and where. Their values add up to that of the kits."""
    minor = minor_unit(kit.currency)
    prices = {p.part_id: p.part.sale_price for p in inside}
    held = [kits.Inside(p.part_id, p.quantity, p.share, prices[p.part_id]) for p in inside]
    amounts = kits.spread(value_of(kits_opened, kit.cost), kits.weights(held), minor)
    made: list[tuple[Lot, Decimal, StockLevel]] = []
    number = kit.opened.count()
    for part, amount in zip(held, amounts, strict=True):
        whole = EXACT.multiply(part.quantity, kits_opened)
        for quantity, cost in kits.lots_of(amount, whole, minor):
            number += 1
            new = Lot.objects.create(
                part_id=part.part_id, number=f"{kit.number}-{number}", batch=kit.batch, source=kit.source,
                received_at=kit.received_at, expires_on=kit.last_day, opened_from=kit, unit_cost=cost, currency=kit.currency,
            )  # fmt: skip
            made.append((new, quantity, levels[part.part_id]))
    return made
