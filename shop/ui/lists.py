"""Keyset pages of the staff lists."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest

from shop.api import keyset
from shop.kernel.errors import BadInput


def page_of(request: HttpRequest, rows: QuerySet[Any], order: Sequence[str], *, size: int = 50) -> keyset.Page:
    """The page of `rows` that ?cursor= asks for. An old or mangled cursor gives the first page, not an error."""
    try:
        return keyset.page(rows, order, limit=size, cursor=request.GET.get("cursor", "")[:400] or None)
    except BadInput:
        return keyset.page(rows, order, limit=size, cursor=None)
