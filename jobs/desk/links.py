"""Addresses of other rooms' pages."""

from __future__ import annotations

from django.urls import NoReverseMatch, reverse
from django.utils.http import urlencode


def to(name: str, *args: object, **query: str) -> str:
    """The page called `name`, "" when this shop's address map has none."""
    try:
        url = reverse(name, args=args)
    except NoReverseMatch:
        return ""
    return f"{url}?{urlencode(query)}" if query else url
