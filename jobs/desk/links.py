"""Addresses of other rooms' pages."""

from __future__ import annotations

from django.urls import reverse
from django.utils.http import urlencode


def to(name: str, *args: object, **query: str) -> str:
    """The page called `name`, with a query if one is given."""
    url = reverse(name, args=args)
    return f"{url}?{urlencode(query)}" if query else url
