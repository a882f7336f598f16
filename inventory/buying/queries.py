"""Reads of the buying room."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from .models import Supplier

_FOUND_BY = ("name", "city", "email", "phone", "account_no")


def suppliers(*, name: str = "", text: str = "", archived: bool = False) -> QuerySet[Supplier]:
    """Suppliers whose name contains `name` and that hold every word of `text` in name, town, e-mail, phone or our
    account number; archived ones only when asked for."""
    found = Supplier.objects.filter(archived_at__isnull=not archived)
    if name:
        found = found.filter(name__icontains=name)
    for word in text.split()[:8]:
        anywhere = Q()
        for field in _FOUND_BY:
            anywhere |= Q(**{f"{field}__icontains": word})
        found = found.filter(anywhere)
    return found


def supplier(pk: int) -> Supplier | None:
    return Supplier.objects.filter(pk=pk).first()
