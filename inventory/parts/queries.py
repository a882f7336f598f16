"""Reads of the catalogue."""

from __future__ import annotations

from django.db.models import Q, QuerySet, Value
from django.db.models.functions import Lower
from django.db.models.lookups import Exact

from .models import Part


def part(pk: int) -> Part | None:
    return Part.objects.filter(pk=pk).first()


def parts(*, text: str = "", code: str = "", kind: str = "", archived: bool = False) -> QuerySet[Part]:
    """Parts of the catalogue; archived ones only when asked for. `text` as in `find`, `code` as in `by_code`."""
    found = Part.objects.filter(archived_at__isnull=not archived)
    if code:
        found = found.filter(_coded(code))
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
    """The part whose barcode, or else number, was scanned or typed."""
    code = code.strip()
    found = list(Part.objects.filter(_coded(code), archived_at__isnull=True)) if code else []
    return next((p for p in found if p.barcode == code), found[0] if found else None)


def _coded(code: str) -> Q:
    return Q(barcode=code) | Q(Exact(Lower("number"), Lower(Value(code))))
