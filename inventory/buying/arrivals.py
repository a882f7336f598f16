"""What a room above does when ordered goods come: keep them for the card they were ordered for.

In its AppConfig.ready():

    arrivals.listen(keep_for_its_card, ahead=hold_cards)

`keep_for_its_card(by, arrived)` is called inside the receipt's own transaction, once they lie on the shelf. `ahead(part_ids)` is
called in it before the stock is locked, to lock what has to be locked first.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from decimal import Decimal
from typing import NamedTuple

from shop.people.models import Person


class Arrived(NamedTuple):
    """Some of an order line that lies on the shelf now."""

    order_line_id: int
    label: str
    part_id: int
    site_id: int
    lot_id: int
    quantity: Decimal


Listener = Callable[[Person, Arrived], None]
Ahead = Callable[[Collection[int]], None]
_listeners: dict[Listener, Ahead | None] = {}


def listen(listener: Listener, *, ahead: Ahead | None = None) -> None:
    """Call it for whatever comes of an order, but for what went into quarantine. Adding it again changes nothing."""
    _listeners[listener] = ahead


def forget(listener: Listener) -> None:
    _listeners.pop(listener, None)


def expect(part_ids: Collection[int]) -> None:
    """These parts are about to come."""
    for ahead in list(_listeners.values()):
        if ahead is not None:
            ahead(part_ids)


def tell(by: Person, arrived: Arrived) -> None:
    for listener in list(_listeners):
        listener(by, arrived)
