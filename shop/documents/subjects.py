"""What a file can belong to, and who may see it there. A room that takes files adds its line here.

A file is seen by whoever may read its subject: photos of a card by all, papers of an invoice by the office.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.apps import apps
from django.db import models

from shop.kernel.errors import NotFound


@dataclass(frozen=True)
class Subject:
    right: str
    """The right that reading the subject needs."""
    root: str = ""
    """Field that leads to what it belongs to: a stage's photo also shows on its card."""
    alive: str = ""
    """Field that must be empty; a removed stage takes no files."""


SUBJECTS: dict[str, Subject] = {
    "machine": Subject("machines.read"),
    "customer": Subject("customers.read"),
    "jobcard": Subject("cards.read"),
    "stage": Subject("cards.read", root="card", alive="removed_at"),
    "workplan": Subject("plans.read"),
    "part": Subject("parts.read"),
    "lot": Subject("stock.read"),
    "supplier": Subject("buying.read"),
    "purchaseorder": Subject("buying.read"),
    "goodsreceipt": Subject("buying.read"),
    "supplierinvoice": Subject("buying.read"),
    "incominginvoice": Subject("buying.read"),
    "subletbill": Subject("costs.read"),
    "estimate": Subject("estimates.read"),
    "invoice": Subject("invoices.read"),
    "reminder": Subject("invoices.read"),
}


def model_of(kind: str) -> type[models.Model]:
    """The table behind a kind. Raises LookupError when no room, or more than one, has it."""
    found = [m for m in apps.get_models() if m._meta.model_name == kind]
    if len(found) != 1:
        raise LookupError(f"{len(found)} tables are called {kind!r}")
    return found[0]


def find(kind: str, pk: int) -> models.Model:
    """The row that files belong to. Raises NotFound."""
    subject = SUBJECTS.get(kind)
    row = model_of(kind)._default_manager.filter(pk=pk).first() if subject else None
    if row is None or (subject and subject.alive and getattr(row, subject.alive)):
        raise NotFound("There is nothing at this address that could take a file, or it is not for you.")
    return row
