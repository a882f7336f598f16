"""Reads of the catalogue."""

from __future__ import annotations

from django.db.models import Q, QuerySet

from .models import Part


def part(pk: int) -> Part | None:
    return Part.objects.filter(pk=pk).first()


def parts(*, text: str = "", kind: str = "", archived: bool = False) -> QuerySet[Part]:
    """Parts of the catalogue; archived ones only when asked for. `text` as in `find`."""
    found = Part.objects.filter(archived_at__isnull=not archived)
    if kind:
        found = found.filter(kind=kind)
    return find(text, found) if text else found


def find(text: str, within: QuerySet[Part] | None = None) -> QuerySet[Part]:
    """Parts in whose number, name or barcode every word of `text` stands, in any case."""
    found = within if within is not None else Part.objects.filter(archived_at__isnull=True)
    for word in text.split()[:8]:
        found = found.filter(Q(number__icontains=word) | Q(name__icontains=word) | Q(barcode=word))
    return found


def by_code(code: str) -> Part | None:
    """The part whose barcode or number was scanned or typed."""
    code = code.strip()
    if not code:
        return None
    found = Part.objects.filter(archived_at__isnull=True)
    return found.filter(barcode=code).first() or found.filter(number__iexact=code).first()
