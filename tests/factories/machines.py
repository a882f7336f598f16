from __future__ import annotations

import itertools
from typing import Any

from jobs.machines import actions
from jobs.machines.models import Customer, Machine
from shop.people.models import Person

from .people import person

_count = itertools.count(1)


def _office() -> Person:
    return person("pim", "Pim Castell", "office")


def customer(name: str = "", *, by: Person | None = None, **more: Any) -> Customer:
    """A customer, by default a new one with a name of its own."""
    name = name or f"Customer {next(_count)}"
    return actions.add_customer(by=by or _office(), name=name, **more)


def machine(owner: Customer | None = None, *, by: Person | None = None, **more: Any) -> Machine:
    """A machine of `owner`, by default an Ostwick 5 with a serial number of its own."""
    values = {"kind": "pump engine", "maker": "Ostwick", "model": "5", "serial_no": f"OW5-{next(_count):05}"} | more
    owner = owner or customer()
    return actions.add_machine(by=by or _office(), customer_id=owner.pk, **values)
