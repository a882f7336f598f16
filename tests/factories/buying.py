"""Suppliers, made as a person would."""

from __future__ import annotations

from typing import Any

from inventory.buying import actions
from inventory.buying.models import Supplier
from shop.people.models import Person


def supplier(by: Person, name: str = "Gullhaven Seals", **more: Any) -> Supplier:
    return actions.add_supplier(by=by, name=name, **more)
