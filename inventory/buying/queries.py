"""Reads of the buying room."""

from __future__ import annotations

from django.db.models import QuerySet

from .models import Supplier


def suppliers(*, name: str = "", archived: bool = False) -> QuerySet[Supplier]:
    """Suppliers whose name contains `name`; archived ones only when asked for."""
    found = Supplier.objects.filter(archived_at__isnull=not archived)
    return found.filter(name__icontains=name) if name else found


def supplier(pk: int) -> Supplier | None:
    return Supplier.objects.filter(pk=pk).first()
