"""Reads of the label room."""

from __future__ import annotations

from django.db.models import QuerySet
from django.utils import timezone

from inventory.stock import queries as shelf
from inventory.stock.models import Bin, Lot
from shop.kernel import clock

from .models import LabelPaper
from .picking import Pick

MOST_LOTS = 300


def papers(*, archived: bool = False) -> QuerySet[LabelPaper]:
    return LabelPaper.objects.filter(archived_at__isnull=not archived)


def paper(pk: int) -> LabelPaper | None:
    return LabelPaper.objects.filter(pk=pk).first()


def of_bin(bin_id: int) -> list[Pick]:
    """A label for each lot that lies in a bin."""
    return [Pick(b.lot.number, 1) for b in shelf.lying_in(bin_id)[:MOST_LOTS]]


def of_all_bins() -> list[Pick]:
    """A label for each bin in use; with the site where two have the same code."""
    rows = list(Bin.objects.filter(archived_at__isnull=True).select_related("site").order_by("site_id", "code"))
    codes = [b.code.lower() for b in rows]
    return [Pick(b.code if codes.count(b.code.lower()) == 1 else f"{b.site.code}/{b.code}", 1) for b in rows]


def received_today() -> list[Pick]:
    """A label for each lot that came in today."""
    today = timezone.localtime(clock.now()).replace(hour=0, minute=0, second=0, microsecond=0)
    rows = Lot.objects.filter(received_at__gte=today, opened_from__isnull=True).order_by("id")
    return [Pick(number, 1) for number in rows.values_list("number", flat=True)[:MOST_LOTS]]
