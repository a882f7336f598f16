"""What a room above does when ordered goods come: keep them for the card they were ordered for.

In its AppConfig.ready():

    arrivals.listen(keep_for_its_card)      # keep_for_its_card(by, arrived), inside the receipt's own transaction
"""

from __future__ import annotations

from collections.abc import Callable
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
_listeners: dict[Listener, None] = {}


def listen(listener: Listener) -> None:
    """Call it for whatever comes of an order, but for what went into quarantine. Adding it again changes nothing."""
    _listeners[listener] = None


def forget(listener: Listener) -> None:
    _listeners.pop(listener, None)


def tell(by: Person, arrived: Arrived) -> None:
    for listener in list(_listeners):
        listener(by, arrived)
