from __future__ import annotations

from decimal import Decimal
from typing import Any

from inventory.stock import actions
from inventory.stock.models import Bin, Lot
from shop.business.models import Site
from shop.people.models import Person


def site(code: str = "QUAY") -> Site:
    return Site.objects.get_or_create(code=code, defaults={"name": f"{code.title()} shop"})[0]


def bin_(by: Person, code: str = "A3-02", kind: str = "shelf", at: Site | None = None) -> Bin:
    """The bin with this code, made once."""
    at = at or site()
    return Bin.objects.filter(site=at, code=code).first() or actions.add_bin(by=by, site_id=at.pk, code=code, kind=kind)


def lot(
    by: Person, part_id: int, quantity: str = "10", unit_cost: str = "4.20", at: Bin | None = None, **more: Any
) -> Lot:
    """So many of a part received into a bin."""
    where = at or bin_(by)
    return actions.receive(
        by=by, part_id=part_id, bin_id=where.pk, quantity=Decimal(quantity), unit_cost=Decimal(unit_cost), **more
    )
