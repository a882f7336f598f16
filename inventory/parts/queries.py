"""Reads of the catalogue."""

from __future__ import annotations

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When
from django.db.models.functions import Lower
from django.db.models.lookups import Exact

from shop.kernel.folding import fold
from shop.kernel.searching import containing

from .models import Part


def part(pk: int) -> Part | None:
    return Part.objects.filter(pk=pk).first()


def parts(*, text: str = "", code: str = "", kind: str = "", archived: bool = False) -> QuerySet[Part]:
    """Parts of the catalogue; archived ones only when asked for. `text`: every word of it stands in number, name or
    barcode; `code` as in `by_code`."""
    found = Part.objects.filter(archived_at__isnull=not archived)
    if code:
        found = found.filter(_coded(code))
    if kind:
        found = found.filter(kind=kind)
    return containing(found, text) if text.strip() else found


def find(text: str) -> QuerySet[Part]:
    """For a search box: parts in whose number, name or barcode every word of `text` stands, in any case; those whose
    number or barcode begins with it first. Slice it."""
    folded = fold(text)
    begins = Q(find_text__startswith=folded) | Q(barcode__startswith=text.strip())
    rank = Case(When(begins, then=0), default=1, output_field=IntegerField())
    return containing(Part.objects.filter(archived_at__isnull=True), text).order_by(rank, "number", "id")


def by_code(code: str) -> Part | None:
    """The part whose barcode, or else number, was scanned or typed."""
    code = code.strip()
    found = list(Part.objects.filter(_coded(code), archived_at__isnull=True)) if code else []
    return next((p for p in found if p.barcode == code), found[0] if found else None)


def _coded(code: str) -> Q:
    return Q(barcode=code) | Q(Exact(Lower("number"), Lower(Value(code))))
