"""The way to a label, on the pages of parts, lots and bins."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from inventory.stock.models import Bin, Lot


def of_row(request: HttpRequest, row: Any) -> str:
    code = row.code if isinstance(row, Bin) else row.number
    context = {"code": code, "bin": row if isinstance(row, Bin) else None, "lot": isinstance(row, Lot)}
    return render_to_string("inventory_labels/panel.html", context, request=request)
