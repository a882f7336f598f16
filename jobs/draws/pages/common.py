"""What these pages have in common."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.parts import queries as parts
from inventory.parts.models import Part
from inventory.stock import queries as shelf
from shop.kernel.decimals import plain
from shop.ui.pages import next_of

from .. import lines, queries

FOUND = 12


def line_of(stage: Any, part: Part) -> lines.PartLine | None:
    return next((x for x in lines.of_stage(stage) if x.part.pk == part.pk), None)


def which(request: HttpRequest, stage: Any, text: str, template: str, more: dict[str, Any]) -> HttpResponse:
    """Which part: scanned, typed, found by its name, or taken from what the stage needs."""
    found = list(parts.find(text)[:FOUND]) if text else []
    listed = [x for x in lines.of_stage(stage) if x.need]
    bins = shelf.bins_by_part({x.part.pk for x in listed} | {p.pk for p in found}, stage.card.site_id)
    context = {"stage": stage, "text": text, "found": found, "lines": listed, "bins": bins, **more}
    return render(request, template, context)


def found_need(pk: int) -> Any:
    row = queries.need(pk)
    if row is None:
        raise Http404
    return row


def tidy(quantity: Decimal) -> Decimal:
    """Without the zeros that the database adds."""
    return Decimal(plain(quantity))


def next_given(request: HttpRequest) -> str:
    return next_of(request, "")
