"""Writes of the buying room."""

from __future__ import annotations

from typing import Any

from shop.kernel import clock
from shop.kernel.errors import field_error
from shop.kernel.versions import claim, save_next
from shop.kernel.writing import writes
from shop.people.models import Person
from shop.trail.record import changes, record

from .models import Supplier


@writes
def add_supplier(*, by: Person, **values: Any) -> Supplier:
    """Add a supplier. Raises BadInput for a name that is already used."""
    supplier = Supplier(**values)
    _refuse_same_name(supplier.name)
    supplier.save(force_insert=True)
    record(by, "supplier.added", supplier, name=supplier.name)
    return supplier


@writes
def edit_supplier(pk: int, expect: int | None, *, by: Person, **values: Any) -> Supplier:
    """Change fields of a supplier at version `expect`. Raises NotFound, Stale, BadInput."""
    supplier = claim(Supplier, pk, expect)
    before = {name: getattr(supplier, name) for name in values}
    if "name" in values:
        _refuse_same_name(values["name"], but=pk)
    save_next(supplier, **values)
    record(by, "supplier.changed", supplier, changed=changes(before, values))
    return supplier


@writes
def archive_supplier(pk: int, expect: int | None, *, by: Person) -> Supplier:
    """Put a supplier away: it stays in history and is no longer offered."""
    supplier = claim(Supplier, pk, expect, archived_at__isnull=True)
    save_next(supplier, archived_at=clock.now())
    record(by, "supplier.archived", supplier)
    return supplier


def _refuse_same_name(name: str, *, but: int | None = None) -> None:
    if Supplier.objects.filter(name__iexact=name).exclude(pk=but).exists():
        raise field_error("name", f"There is already a supplier “{name}”. Use that one, or tell them apart by town.")
